// Row by row, in words: for a screen reader, and for whoever likes to be told.

import { store, on } from "./store.js";
import { el } from "./build.js";
import { rowInWords, plural } from "./grid.js";

export function setUpRows(body, state, details) {
  const lead = el("p", { class: "soft" });
  const list = el("ol", { class: "rows-text", tabindex: "0", "aria-label": "The rows of the chart, from the top" });
  body.append(lead, list);
  let shown = null;

  function fill() {
    const grid = store.grid;
    if (!grid || !details.open || shown === grid) return;
    shown = grid;
    const lines = grid.lines.length ? ` and ${plural(grid.lines.length, "backstitch", "backstitches")}` : "";
    lead.textContent = `${grid.columns} stitches wide, ${grid.rows} high: ${plural(grid.stitches(), "stitch", "stitches")}${lines}. Each row from the left.`;
    list.replaceChildren(...Array.from({ length: grid.rows }, (_, row) => el("li", {}, rowInWords(grid, row))));
  }

  details.addEventListener("toggle", fill);
  on("view", fill);
  on("edited", () => {
    shown = null;
    fill();
  });
  on("view", () => {
    state.textContent = store.grid ? `${store.grid.rows} rows` : "";
  });
}
