// Adjusting: how dark, how fine, how tidy; lines and mirror.

import { store, on, preview, keep } from "./store.js";
import { el, slider, choice, check, button } from "./build.js";

const PLAIN = { dark: 0, detail: 50, tidy: 50, lines: "auto", mirror: "auto", sheet: true, rulings: false, deskew: true };

function settings(part) {
  return { settings: part };
}

export function setUpAdjust(body, state) {
  const make = (name, label, low, high, ends) => slider({
    label, low, high, ends,
    moving: (value) => preview(settings({ [name]: value })),
    left: (value) => keep(settings({ [name]: value }), label),
  });
  const sliders = {
    dark: make("dark", "How much is stitched", -100, 100, ["only the darkest parts", "nearly everything"]),
    detail: make("detail", "Fine parts", 0, 100, ["bold and simple", "every small part"]),
    tidy: make("tidy", "Sweep up loose stitches", 0, 100, ["leave them all", "sweep them away"]),
  };
  const lines = choice({
    label: "Backstitch lines",
    options: [["auto", "As the picture asks"], ["none", "None"], ["strokes", "Along thin strokes"], ["edges", "Round the edges"]],
    chosen: (value) => keep(settings({ lines: value }), "Backstitch lines"),
  });
  const mirror = choice({
    label: "The same on both sides",
    options: [["auto", "If the picture is"], ["none", "No"], ["upright", "Left and right"], ["level", "Top and bottom"], ["both", "All four ways"]],
    chosen: (value) => keep(settings({ mirror: value }), "Same on both sides"),
  });
  const sheet = check({ label: "Only the sheet of paper in a photo", changed: (value) => keep(settings({ sheet: value }), "Only the sheet of paper") });
  const rulings = check({ label: "The paper's printed lines too", changed: (value) => keep(settings({ rulings: value }), "Printed lines of the paper") });
  const deskew = check({ label: "Straighten a slight tilt", changed: (value) => keep(settings({ deskew: value }), "Straighten") });
  const back = button("Back to the first suggestion", () => keep({ settings: { ...PLAIN } }, "Back to the first suggestion"), { class: "quiet" });
  const none = el("p", { class: "soft", hidden: true }, "This piece came as a finished chart: correct it by hand, or put a border round it.");
  const controls = el("div", { class: "step-body", style: null }, Object.values(sliders).map((each) => each.node), lines.node, mirror.node, sheet.node, rulings.node, deskew.node, el("div", {}, back));
  controls.style.padding = "0";
  body.append(none, controls);

  on("state", () => {
    const given = { ...PLAIN, ...(store.state.settings ?? {}) };
    for (const [name, each] of Object.entries(sliders)) each.set(given[name]);
    lines.set(given.lines);
    mirror.set(given.mirror);
    sheet.set(given.sheet);
    rulings.set(given.rulings);
    deskew.set(given.deskew);
    const fixed = store.state.what !== "picture";
    none.hidden = !fixed;
    controls.hidden = fixed;
    const changed = Object.keys(PLAIN).filter((name) => given[name] !== PLAIN[name]);
    state.textContent = fixed ? "" : changed.length ? `${changed.length} changed` : "as suggested";
    back.disabled = changed.length === 0;
  });
}
