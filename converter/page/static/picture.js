// The picture: which part of it, which way up, what it is.

import { store, on, keep } from "./store.js";
import { el, button, choice, check, numberField } from "./build.js";

const SIDES = ["left", "top", "right", "bottom"];

export function setUpPicture(body, state) {
  const image = el("img", { alt: "The picture as it came", draggable: "false" });
  const box = el("div", { class: "crop-box", hidden: true });
  const handles = [["left", "top"], ["right", "top"], ["left", "bottom"], ["right", "bottom"]]
    .map((ends) => {
      const node = el("span", { class: "crop-handle" });
      node.dataset.ends = ends.join(" ");
      return node;
    });
  const clip = el("div", { class: "crop-clip" }, box);
  const frame = el("div", { class: "crop" }, image, clip, handles);
  const sides = Object.fromEntries(SIDES.map((side) => [side, numberField({
    label: { left: "Left edge, %", top: "Top edge, %", right: "Right edge, %", bottom: "Bottom edge, %" }[side],
    low: 0, high: 100, step: 1, changed: () => fromNumbers(),
  })]));
  let marking = "crop";
  const mark = choice({
    label: "The frame shows",
    options: [["crop", "the part to use"], ["subject", "where the subject is"]],
    chosen: (value) => {
      marking = value;
      fromState();
    },
  });
  const whole = button("The whole picture", () => keep({ settings: { [marking]: null } }, "The whole picture"), { class: "quiet" });
  const turn = button("Quarter turn", () => {
    const now = store.state.settings.turn ?? 0;
    keep({ settings: { turn: (now + 90) % 360 || null, crop: null, subject: null } }, "Quarter turn");
  });
  const kind = choice({
    label: "It is",
    options: [["auto", "Let it decide"], ["line", "A line drawing"], ["shape", "Solid shapes"], ["photo", "A photo"]],
    chosen: (value) => keep({ settings: { kind: value === "auto" ? null : value } }, "What the picture is"),
  });
  const invert = check({ label: "Light drawing on a dark ground", changed: (value) => keep({ settings: { invert: value || null } }, "Light on dark") });
  const trim = check({ label: "Leave blank paper and bars round it away", changed: (value) => keep({ settings: { trim: value ? null : false } }, "Blank paper") });
  const reason = el("p", { class: "soft" });
  const read = choice({
    label: "Read it",
    options: [["picture", "as a picture"], ["squares", "square by square, from squared paper"]],
    chosen: (value) => keep({ what: value }, "How it is read"),
  });
  const none = el("p", { class: "soft", hidden: true }, "This piece came as a finished chart.");
  const controls = el("div", { class: "step-body" }, mark.node, frame,
    el("div", { class: "edges" }, SIDES.map((side) => sides[side].node)),
    el("div", { class: "row" }, turn, whole), kind.node, reason, invert.node, trim.node, read.node);
  controls.style.padding = "0";
  body.append(none, controls);

  let crop = [0, 0, 100, 100];
  let shown = "";

  function paint() {
    const [left, top, right, bottom] = crop;
    box.hidden = false;
    Object.assign(box.style, { left: `${left}%`, top: `${top}%`, width: `${right - left}%`, height: `${bottom - top}%` });
    for (const handle of handles) {
      const [across, up] = handle.dataset.ends.split(" ");
      handle.style.position = "absolute";
      handle.style.left = `${across === "left" ? left : right}%`;
      handle.style.top = `${up === "top" ? top : bottom}%`;
    }
    SIDES.forEach((side, at) => sides[side].set(Math.round(crop[at])));
  }

  function fromNumbers() {
    const [left, top, right, bottom] = SIDES.map((side) => Number(sides[side].input.value));
    if (left >= right || top >= bottom) {
      paint();
      return;
    }
    crop = [left, top, right, bottom];
    paint();
    keepCrop();
  }

  function keepCrop() {
    const all = crop[0] <= 0 && crop[1] <= 0 && crop[2] >= 100 && crop[3] >= 100;
    const box = all ? null : crop.map((value) => Math.round(value * 10) / 10);
    keep({ settings: { [marking]: box } }, marking === "crop" ? "Part of the picture" : "Where the subject is");
  }

  function fromState() {
    const given = store.state.settings?.[marking];
    crop = given ? [...given] : [0, 0, 100, 100];
    mark.set(marking);
    whole.disabled = !given;
    box.classList.toggle("subject", marking === "subject");
    paint();
  }

  let drag = null;
  frame.addEventListener("pointerdown", (event) => {
    const target = event.target.closest(".crop-handle, .crop-box");
    if (!target) return;
    frame.setPointerCapture(event.pointerId);
    drag = { ends: target.dataset.ends?.split(" ") ?? null, x: event.clientX, y: event.clientY, from: [...crop] };
    event.preventDefault();
  });
  frame.addEventListener("pointermove", (event) => {
    if (!drag) return;
    const size = image.getBoundingClientRect();
    const dx = ((event.clientX - drag.x) / size.width) * 100;
    const dy = ((event.clientY - drag.y) / size.height) * 100;
    const next = [...drag.from];
    if (drag.ends) {
      const across = drag.ends[0] === "left" ? 0 : 2;
      const up = drag.ends[1] === "top" ? 1 : 3;
      next[across] = Math.max(across === 0 ? 0 : next[0] + 4, Math.min(across === 0 ? next[2] - 4 : 100, next[across] + dx));
      next[up] = Math.max(up === 1 ? 0 : next[1] + 4, Math.min(up === 1 ? next[3] - 4 : 100, next[up] + dy));
    } else {
      const mx = Math.max(-next[0], Math.min(100 - next[2], dx));
      const my = Math.max(-next[1], Math.min(100 - next[3], dy));
      next[0] += mx;
      next[2] += mx;
      next[1] += my;
      next[3] += my;
    }
    crop = next;
    paint();
  });
  const end = () => {
    if (!drag) return;
    const moved = crop.some((value, at) => value !== drag.from[at]);
    drag = null;
    if (moved) keepCrop();
  };
  frame.addEventListener("pointerup", end);
  frame.addEventListener("pointercancel", end);

  on("open", () => { marking = "crop"; });
  on("state", () => {
    const settings = store.state.settings ?? {};
    const fixed = store.state.what === "chart";
    none.hidden = !fixed;
    controls.hidden = fixed;
    if (fixed) {
      state.textContent = store.state.file;
      return;
    }
    const wanted = `/api/pieces/${store.piece}/picture.jpg?turn=${settings.turn ?? 0}`;
    if (shown !== wanted) {
      shown = wanted;
      image.src = wanted;
    }
    if (!drag) fromState();
    kind.set(settings.kind ?? "auto");
    invert.set(settings.invert);
    trim.set(settings.trim !== false);
    read.set(store.state.what);
    reason.textContent = store.view.reason ?? "";
    reason.hidden = !reason.textContent;
    const plain = store.state.what === "squares";
    for (const node of [mark.node, kind.node, invert.node, trim.node]) node.hidden = plain;
    state.textContent = [store.state.file, settings.crop ? "a part of it" : ""].filter(Boolean).join(", ");
  });
}
