// Borders and letters round the piece, chosen from pictures of plans that fit.

import { store, on } from "./store.js";
import { el } from "./build.js";

export function setUpBorder(body, state, details) {
  const lead = el("p", { class: "soft" }, "");
  body.append(lead);
  on("state", () => {
    state.textContent = store.state.border ? "a border" : "none";
    details.hidden = false;
  });
}
