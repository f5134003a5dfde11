// Correcting by hand: the tools, the tray under the chart, the keys.

import { store, on, dropArea, keepByHand, tell } from "./store.js";
import { el, button, choice, check } from "./build.js";
import { plural } from "./grid.js";
import { areaWords, areasWords } from "./words.js";
import { tools, choose, clearArea, fillArea, holdArea, markPicture, onPicture, releaseArea, lift, turnFloating, putDown, dropFloating } from "./tools.js";

const TOOLS = [
  ["look", "Look around"],
  ["stitch", "Stitches"],
  ["line", "Lines"],
  ["area", "An area"],
];
const HOW = {
  look: "Drag to move the chart about. Nothing is changed.",
  stitch: "Touch a square to put a stitch in or take it out; drag to do several.",
  line: "Drag from hole to hole to put in a backstitch. Touch a line to take it out.",
  area: "Drag over a part, then choose under the chart what to do with it: with its squares, or with the picture there.",
};
const KEYS = [
  ["Arrows", "from stitch to stitch; with Shift ten at a time"],
  ["Space", "do what the tool does: stitch in or out, begin and end a line, corners of an area"],
  ["1 2 3 4", "look around, stitches, lines, an area"],
  ["m  c  k", "with an area: move, copy, keep as it is"],
  ["d  o", "with an area: full detail from the picture, leave that part of the picture out"],
  ["Delete", "with an area: clear it"],
  ["+  −  0", "larger, smaller, whole"],
  ["Ctrl + arrows", "move the chart about"],
  ["Ctrl Z, Ctrl Y", "undo, redo"],
  ["Esc", "leave it"],
];

function group(label, ...buttons) {
  return el("div", { class: "tray-group", role: "group", "aria-label": label }, el("span", { class: "soft small", "aria-hidden": "true" }, label), buttons);
}

export function setUpCorrect(body, state, tray, view) {
  const tool = choice({ label: "On the chart I am doing", options: TOOLS, chosen: choose });
  const how = el("p", { class: "soft" }, HOW.look);
  const halves = check({ label: "Lines may end halfway along a square", changed: (value) => { tools.halves = value; } });
  const kept = el("p", {});
  const aside = el("p", { class: "note told", hidden: true });
  const release = button("Take all corrections back", () => {
    const { rows, columns } = store.grid;
    keepByHand({ release: [0, 0, rows, columns] }, "All corrections taken back").then(() => tell("reload"));
  });
  const partsHead = el("h3", { hidden: true }, "Parts of the picture");
  const parts = el("ul", { class: "parts" });
  body.append(tool.node, how, halves.node, kept, aside, el("div", {}, release), partsHead, parts,
    el("details", {}, el("summary", {}, "Keys"), el("dl", { class: "keys" }, KEYS.map(([key, what]) => [el("dt", {}, key), el("dd", {}, what)]).flat())));

  // As high as it was, whatever lies in it: else the chart would grow and shrink under her hand.
  const showTray = () => {
    tray.style.minHeight = view.floating ? `${tray.getBoundingClientRect().height}px` : "";
    tray.replaceChildren();
    if (view.floating) {
      tray.append(
        button("Put it down here", putDown, { class: "primary" }),
        button("Mirror it", () => turnFloating("mirror")),
        button("Upside down", () => turnFloating("flip")),
        button("Quarter turn", () => turnFloating("turn")),
        button("Leave it", dropFloating, { class: "quiet" }));
    } else if (tools.name === "area") {
      const act = (text, run, { ready = Boolean(view.area), ...attributes } = {}) => button(text, run, { disabled: !ready, ...attributes });
      tray.append(group("These squares",
        act("Clear", clearArea),
        act("Fill", fillArea),
        act("Keep as it is", holdArea),
        act("Move", () => lift(false)),
        act("Copy", () => lift(true)),
        act("Take corrections back", releaseArea, { class: "quiet" })));
      if (store.state?.what === "picture") {
        tray.append(group("The picture here",
          act("Full detail", () => markPicture("keep"), { ready: onPicture() }),
          act("Leave it out", () => markPicture("clear"), { ready: onPicture() })));
      }
    }
    tray.hidden = !tray.childElementCount;
  };

  const showState = () => {
    tool.set(tools.name);
    how.textContent = HOW[tools.name];
    halves.node.hidden = tools.name !== "line";
    document.body.classList.toggle("editing", tools.name !== "look");
    showTray();
  };
  on("tool", showState);
  on("view", showState);
  on("state", () => {
    const { corrections = 0, aside: other = 0 } = store.view ?? {};
    kept.textContent = corrections ? `${plural(corrections, "correction")} by hand on this grid. They stay when you adjust something later.` : "No corrections yet.";
    aside.hidden = !other;
    aside.textContent = `${plural(other, "correction")} made at another size or crop ${other === 1 ? "is" : "are"} set aside: they do not fit this grid. With the former size they come back.`;
    release.hidden = !corrections;
    const { areas = [] } = store.view ?? {};
    partsHead.hidden = !areas.length;
    parts.replaceChildren(...areas.map((area) => {
      const words = `${area.do === "keep" ? "Full detail" : "Left out"}: ${areaWords(area, store.grid)}`;
      return el("li", {}, el("span", {}, words),
        button("Take it back", () => dropArea(area.name, area.do === "keep" ? "Full detail taken back" : "A part of the picture brought back"),
          { class: "quiet", "aria-label": `Take it back: ${words}` }));
    }));
    state.textContent = [areasWords(areas), corrections ? plural(corrections, "correction") : "", other ? `${other} set aside` : ""].filter(Boolean).join(", ");
  });
}
