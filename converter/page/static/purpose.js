// What it is for, and how big: kind of piece, cloth, thread; a width, or what she has; several sizes side by side.

import { store, on, preview, keep, tell } from "./store.js";
import { send } from "./api.js";
import { el, button, choice, slider, numberField, pick, textField, colourField } from "./build.js";
import { decodeBits, thumb } from "./grid.js";
import { sizeWords, hoursWords } from "./words.js";

const PIECES = [
  ["", "Not decided"],
  ["sachet", "Sachet"],
  ["bookmark", "Bookmark"],
  ["card", "Card"],
  ["panel", "Panel for a cushion"],
  ["cushion", "Whole cushion"],
  ["frame", "Picture to frame"],
  ["hoop", "In a hoop"],
];
const CLOTHS = [
  ["11/1", "Aida 11"],
  ["14/1", "Aida 14"],
  ["16/1", "Aida 16"],
  ["18/1", "Aida 18"],
  ["25/2", "Linen 25, over two"],
  ["28/2", "Linen 28, over two"],
  ["32/2", "Linen 32, over two"],
  ["36/2", "Linen 36, over two"],
];
const MEASURES = [
  ["wide", "Stitches across"],
  ["piece", "As the piece holds"],
  ["fit", "Finished size"],
  ["hours", "Hours I have"],
  ["skeins", "Skeins I have"],
  ["stitches", "Stitches at most"],
];

export function setUpPurpose(body, state) {
  const option = (part, label) => keep({ options: part }, label);
  const piece = choice({
    label: "It will be a",
    options: PIECES,
    chosen: (value) => option({ piece: value || null }, "What it is for"),
  });
  const cloth = pick({
    label: "Cloth",
    options: [...CLOTHS, ["other", "Another count…"]],
    changed: (value) => {
      other.hidden = value !== "other";
      if (value !== "other") option({ fabric: value.split("/").map(Number) }, "Cloth");
    },
  });
  const count = numberField({ label: "Squares or threads an inch", low: 5, high: 60, step: 0.1, changed: () => ownCount() });
  const over = pick({ label: "Each stitch over", options: [["1", "one"], ["2", "two"], ["3", "three"], ["4", "four"]], changed: () => ownCount() });
  const ownCount = () => option({ fabric: [Number(count.input.value), Number(over.select.value)] }, "Cloth");
  const other = el("div", { class: "row", hidden: true }, count.node, over.node);
  const ground = colourField({ label: "Cloth colour", changed: (value) => option({ ground: value }, "Cloth colour") });
  const thread = colourField({ label: "Thread colour", changed: (value) => option({ thread_colour: value }, "Thread colour") });
  const threadName = textField({ label: "Thread, as the shop calls it", changed: (value) => option({ thread_name: value.trim() || null }, "Thread name"), attributes: { maxlength: 60 } });
  const strands = pick({
    label: "Strands",
    options: [["", "what suits the cloth"], ...[1, 2, 3, 4, 5, 6].map((n) => [String(n), String(n)])],
    changed: (value) => option({ strands: value ? Number(value) : null }, "Strands"),
  });

  let measure = "wide";
  const by = choice({ label: "How big", options: MEASURES, chosen: (value) => { measure = value; showMeasure(); } });
  const wide = slider({
    label: "Stitches across", low: 16, high: 200, ends: ["small and quick", "large and fine"],
    moving: (value) => preview({ options: { wide: value, high: null } }),
    left: (value) => option({ wide: value, high: null }, "Stitches across"),
  });
  const wideNumber = numberField({ label: "exactly", low: 4, high: 1000, changed: (value) => option({ wide: Math.round(value), high: null }, "Stitches across") });
  const fitWide = numberField({ label: "At most this wide", low: 1, high: 500, step: 0.1, changed: () => {}, suffix: "" });
  const fitHigh = numberField({ label: "and this high", low: 1, high: 500, step: 0.1, changed: () => {}, suffix: "" });
  const hours = numberField({ label: "Hours I have", low: 0.5, high: 10000, step: 0.5, changed: () => {} });
  const pace = numberField({ label: "Crosses an hour I make", low: 1, high: 2000, changed: (value) => option({ pace: value }, "Pace") });
  const skeins = numberField({ label: "Skeins I have", low: 1, high: 1000, changed: () => {} });
  const stitches = numberField({ label: "Stitches at most", low: 20, high: 1000000, changed: () => {} });
  const found = el("p", { class: "soft", role: "status" });
  const work = button("Find the largest that fits", findFit, { class: "primary" });
  const units = choice({ label: "Show sizes in", options: [["cm", "cm"], ["in", "inches"]], chosen: (value) => option({ units: value }, "Units") });
  const several = el("div", { class: "sizes" });
  const severalButton = button("Show several sizes side by side", showSizes);

  const parts = {
    wide: el("div", { class: "field" }, wide.node, wideNumber.node),
    piece: el("p", { class: "soft" }, "The largest design that such a piece usually holds, on this cloth."),
    fit: el("div", { class: "row" }, fitWide.node, fitHigh.node),
    hours: el("div", { class: "row" }, hours.node),
    skeins: skeins.node,
    stitches: stitches.node,
  };
  const size = el("div", { class: "step-body" }, by.node, Object.values(parts), work, found, severalButton, several);
  size.style.padding = "0";
  body.append(piece.node, el("div", { class: "row" }, cloth.node, ground.node, thread.node), other,
    el("div", { class: "row" }, threadName.node, strands.node), size, el("div", { class: "row" }, pace.node, units.node));

  function showMeasure() {
    by.set(measure);
    for (const [name, node] of Object.entries(parts)) node.hidden = name !== measure;
    work.hidden = measure === "wide";
  }
  showMeasure();

  async function findFit() {
    const inch = (store.state.options.units ?? "cm") === "in";
    const mm = (field) => Number(field.input.value) * (inch ? 25.4 : 10);
    const wish = { fit: null, hours: null, skeins: null, stitches: null };
    if (measure === "fit") wish.fit = [mm(fitWide), mm(fitHigh)];
    if (measure === "hours") wish.hours = Number(hours.input.value);
    if (measure === "skeins") wish.skeins = Math.round(Number(skeins.input.value));
    if (measure === "stitches") wish.stitches = Math.round(Number(stitches.input.value));
    if (measure === "piece" && !store.state.options?.piece) {
      found.textContent = "Choose first what it will be.";
      return;
    }
    if (Object.values(wish).some((value) => value === 0 || (Array.isArray(value) && value.includes(0)))) {
      found.textContent = "Write the number first.";
      return;
    }
    found.textContent = "Trying sizes…";
    work.disabled = true;
    try {
      const answer = await send(`/api/pieces/${store.piece}/fit`, { change: { options: wish } });
      await keep({ options: { ...wish, wide: answer.wide, high: null } }, "The largest that fits");
      found.textContent = [`${answer.wide} stitches across.`, ...answer.words].join(" ");
    } catch (error) {
      found.textContent = error.message;
    } finally {
      work.disabled = false;
    }
  }

  async function showSizes() {
    several.replaceChildren(el("p", { class: "soft" }, "Working out the sizes…"));
    severalButton.disabled = true;
    try {
      const { sizes } = await send(`/api/pieces/${store.piece}/sizes`);
      several.replaceChildren(...sizes.map((one) => {
        const picture = el("canvas", { "aria-hidden": "true" });
        thumb(picture, one.rows, one.columns, decodeBits(one.bits, one.rows, one.columns), one.lines, one.thread);
        const facts = one.facts;
        return button(el("span", { class: "thumb" }, picture), () => keep({ options: { wide: one.wide, high: null } }, "Size"), {
          class: "card",
          "aria-pressed": String(one.wide === store.view.motif[3]),
          "data-wide": one.wide,
        });
      }));
      [...several.children].forEach((card, at) => {
        const one = sizes[at];
        card.append(el("strong", {}, `${one.columns} × ${one.rows}`),
          el("span", {}, sizeWords(one.facts.finished_mm)),
          el("span", {}, `${one.facts.stitches.toLocaleString("en")} stitches`),
          el("span", {}, `${one.facts.skeins} ${one.facts.skeins === 1 ? "skein" : "skeins"}, ${hoursWords(one.facts.hours)}`),
          el("span", { class: "soft" }, one.losses.length ? one.losses.join(" ") : "nothing lost"));
      });
    } catch (error) {
      several.replaceChildren(el("p", { class: "note told" }, error.message));
    } finally {
      severalButton.disabled = false;
    }
  }

  on("open", () => {
    several.replaceChildren();
    found.textContent = "";
    const given = store.state.options ?? {};
    measure = ["fit", "hours", "skeins", "stitches"].find((name) => given[name]) ?? "wide";
    const inch = given.units === "in";
    if (given.fit) {
      fitWide.set((given.fit[0] / (inch ? 25.4 : 10)).toFixed(1));
      fitHigh.set((given.fit[1] / (inch ? 25.4 : 10)).toFixed(1));
    }
    hours.set(given.hours ?? "");
    skeins.set(given.skeins ?? "");
    stitches.set(given.stitches ?? "");
    showMeasure();
  });
  on("state", () => {
    const given = store.state.options ?? {};
    piece.set(given.piece ?? "");
    const name = `${store.view.count}/${store.view.over}`;
    const known = CLOTHS.some(([value]) => value === name);
    cloth.set(known ? name : "other");
    other.hidden = known;
    count.set(store.view.count);
    over.set(String(store.view.over));
    ground.set(store.view.ground);
    thread.set(store.view.thread);
    threadName.set(given.thread_name ?? "");
    strands.set(given.strands ? String(given.strands) : "");
    pace.set(given.pace ?? 100);
    units.set(given.units ?? "cm");
    for (const field of [fitWide, fitHigh]) field.node.querySelector("label").textContent = `${field === fitWide ? "At most this wide" : "and this high"}, ${given.units === "in" ? "inches" : "cm"}`;
    const columns = store.view.motif[3];
    wide.input.max = Math.max(200, columns);
    wide.set(columns);
    wideNumber.set(columns);
    size.hidden = store.state.what !== "picture";
    const kind = PIECES.find(([value]) => value === (given.piece ?? ""))[1];
    state.textContent = [given.piece ? kind : "", `${store.view.columns} × ${store.view.rows} stitches`].filter(Boolean).join(", ");
    for (const card of several.querySelectorAll(".card")) card.setAttribute("aria-pressed", String(Number(card.dataset.wide) === columns));
  });
  tell("ready");
}
