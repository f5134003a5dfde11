// Correcting by hand: what the pointer and the keys do on the chart.

import { store, keepArea, keepByHand, tell, undo, redo } from "./store.js";
import { lineName, nearestLine, plural } from "./grid.js";

export const tools = { name: "look", halves: false };

let view = null;
let touches = new Map();
let gesture = null;
let corner = null;

export function setUpTools(chartView) {
  view = chartView;
  const { canvas } = view;
  canvas.addEventListener("pointerdown", down);
  canvas.addEventListener("pointermove", move);
  canvas.addEventListener("pointerup", up);
  canvas.addEventListener("pointercancel", cancel);
  canvas.addEventListener("contextmenu", (event) => event.preventDefault());
  canvas.addEventListener("wheel", wheel, { passive: false });
  canvas.addEventListener("keydown", key);
  canvas.addEventListener("focus", () => {
    place();
    view.draw();
  });
  canvas.addEventListener("blur", () => view.draw());
}

export function choose(name) {
  if (view.floating) putDown();
  tools.name = name;
  view.canvas.dataset.tool = name;
  view.cursorOnHole = name === "line";
  view.area = null;
  view.draft = null;
  corner = null;
  place();
  tell("tool");
  view.draw();
}

/** After the grid has changed, whatever pointed into it goes. */
export function forget() {
  view.area = null;
  view.floating = null;
  view.draft = null;
  corner = null;
  gesture = null;
  place();
  tell("tool");
}

function place() {
  const grid = store.grid;
  if (!grid) return;
  const most = view.cursorOnHole ? 0 : 1;
  view.cursor ??= { row: Math.floor(grid.rows / 2), col: Math.floor(grid.columns / 2) };
  const snap = view.cursorOnHole && tools.halves ? 2 : 1;
  view.cursor.row = Math.max(0, Math.min(grid.rows - most, Math.round(view.cursor.row * snap) / snap));
  view.cursor.col = Math.max(0, Math.min(grid.columns - most, Math.round(view.cursor.col * snap) / snap));
}

// ---- pointer -------------------------------------------------------------------------------------------------------

function point(event) {
  const box = view.canvas.getBoundingClientRect();
  return { x: event.clientX - box.left, y: event.clientY - box.top };
}

function down(event) {
  view.canvas.focus({ preventScroll: true });
  view.canvas.setPointerCapture(event.pointerId);
  const at = point(event);
  touches.set(event.pointerId, at);
  if (touches.size === 2) {
    stopGesture();
    gesture = { kind: "pinch" };
    return;
  }
  if (touches.size > 2) return;
  if (tools.name === "look" || event.button === 1 || event.button === 2) gesture = { kind: "pan" };
  else if (view.floating) beginMoving(at);
  else if (tools.name === "stitch") beginStitching(at);
  else if (tools.name === "line") beginLine(at);
  else if (tools.name === "area") beginArea(at);
  event.preventDefault();
}

function move(event) {
  const before = touches.get(event.pointerId);
  if (!before) return;
  const at = point(event);
  if (gesture?.kind === "pinch" && touches.size === 2) {
    const [one, other] = [...touches.entries()].map(([id, where]) => (id === event.pointerId ? [where, at] : [where, where]));
    const spread = (a, b) => Math.hypot(a.x - b.x, a.y - b.y) || 1;
    const middle = (a, b) => ({ x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 });
    const was = middle(one[0], other[0]);
    const is = middle(one[1], other[1]);
    view.pan(is.x - was.x, is.y - was.y);
    view.zoom(spread(one[1], other[1]) / spread(one[0], other[0]), is.x, is.y);
  } else if (gesture?.kind === "pan") {
    view.pan(at.x - before.x, at.y - before.y);
  } else if (gesture?.kind === "stitch") {
    stitchAlong(before, at);
  } else if (gesture?.kind === "line") {
    const end = hole(at);
    view.draft = [...gesture.from, ...end];
    if (end[0] === gesture.from[0] && end[1] === gesture.from[1]) view.draft = null;
    view.draw();
  } else if (gesture?.kind === "area") {
    view.area = areaBetween(gesture.from, square(at));
    view.draw();
  } else if (gesture?.kind === "carry") {
    const here = square(at);
    view.floating.row = gesture.row + here.row - gesture.from.row;
    view.floating.col = gesture.col + here.col - gesture.from.col;
    view.draw();
  }
  touches.set(event.pointerId, at);
}

function up(event) {
  const at = touches.get(event.pointerId);
  touches.delete(event.pointerId);
  if (!at) return;
  if (gesture?.kind === "pinch") {
    if (touches.size === 0) gesture = null;
    return;
  }
  stopGesture(point(event));
}

function cancel(event) {
  touches.delete(event.pointerId);
  if (touches.size === 0) stopGesture();
}

function stopGesture(at = null) {
  const ended = gesture;
  gesture = null;
  if (ended?.kind === "stitch") keepStitches(ended);
  if (ended?.kind === "line") {
    const line = view.draft;
    view.draft = null;
    if (line) toggleLine(line);
    else if (at) removeLineNear(at);
  }
  if (ended?.kind === "area") tell("tool");
}

function wheel(event) {
  if (!event.ctrlKey && !event.metaKey) return;
  event.preventDefault();
  const at = point(event);
  view.zoom(Math.exp(-event.deltaY / 300), at.x, at.y);
}

function square(at, hold = true) {
  const { row, col } = view.place(at.x, at.y);
  const grid = store.grid;
  const here = { row: Math.floor(row), col: Math.floor(col) };
  if (!hold) return here;
  return { row: Math.max(0, Math.min(grid.rows - 1, here.row)), col: Math.max(0, Math.min(grid.columns - 1, here.col)) };
}

function hole(at) {
  const { row, col } = view.place(at.x, at.y);
  const grid = store.grid;
  const snap = tools.halves ? 2 : 1;
  return [
    Math.max(0, Math.min(grid.rows, Math.round(row * snap) / snap)),
    Math.max(0, Math.min(grid.columns, Math.round(col * snap) / snap)),
  ];
}

// ---- stitches ------------------------------------------------------------------------------------------------------

function beginStitching(at) {
  const here = square(at, false);
  if (!store.grid.inside(here.row, here.col)) {
    gesture = { kind: "pan" };
    return;
  }
  const begun = performance.now();
  gesture = { kind: "stitch", on: store.grid.at(here.row, here.col) ? 0 : 1, changed: new Map(), grid: store.grid };
  view.cursor = here;
  stitchOne(here.row, here.col);
  view.draw(true);
  performance.measure("hand-edit", { start: begun, end: performance.now() });
}

function stitchOne(row, col) {
  const grid = store.grid;
  if (!grid.inside(row, col) || grid.at(row, col) === gesture.on) return;
  gesture.changed.set(row * grid.columns + col, [row, col]);
  view.setCell(row, col, gesture.on);
}

function stitchAlong(from, to) {
  if (gesture.grid !== store.grid) return;
  const begun = performance.now();
  const one = square(from, false);
  const other = square(to, false);
  const steps = Math.max(Math.abs(other.row - one.row), Math.abs(other.col - one.col), 1);
  for (let step = 0; step <= steps; step += 1) {
    stitchOne(
      Math.round(one.row + ((other.row - one.row) * step) / steps),
      Math.round(one.col + ((other.col - one.col) * step) / steps),
    );
  }
  view.cursor = { ...square(to) };
  view.draw(true);
  performance.measure("hand-edit", { start: begun, end: performance.now() });
}

function keepStitches(done) {
  if (!done.changed.size) return;
  const cells = [];
  for (const [row, col] of done.changed.values()) cells.push(row, col, done.on);
  const many = done.changed.size;
  keepByHand({ cells }, done.on ? `${plural(many, "stitch", "stitches")} put in` : `${plural(many, "stitch", "stitches")} taken out`);
  tell("edited");
}

// ---- lines ---------------------------------------------------------------------------------------------------------

function beginLine(at) {
  const from = hole(at);
  view.cursor = { row: from[0], col: from[1] };
  gesture = { kind: "line", from };
}

function toggleLine(line) {
  const index = store.grid.findLine(line);
  if (index >= 0) {
    store.grid.lines.splice(index, 1);
    keepByHand({ lines: [[...line, 0]] }, "A line taken out");
  } else {
    store.grid.lines.push(line);
    keepByHand({ lines: [[...line, 1]] }, "A line put in");
  }
  view.draw(true);
  tell("edited");
}

function removeLineNear(at) {
  const { row, col } = view.place(at.x, at.y);
  const index = nearestLine(store.grid.lines, row, col, Math.max(0.35, 9 / view.scale));
  if (index < 0) return;
  const [line] = store.grid.lines.splice(index, 1);
  keepByHand({ lines: [[...line, 0]] }, "A line taken out");
  view.draw(true);
  tell("edited");
}

// ---- areas ---------------------------------------------------------------------------------------------------------

function beginArea(at) {
  gesture = { kind: "area", from: square(at) };
  view.area = areaBetween(gesture.from, gesture.from);
  view.draw();
}

function areaBetween(one, other) {
  return {
    row: Math.min(one.row, other.row),
    col: Math.min(one.col, other.col),
    rows: Math.abs(one.row - other.row) + 1,
    cols: Math.abs(one.col - other.col) + 1,
  };
}

function eachIn({ row, col, rows, cols }, run) {
  for (let r = row; r < row + rows; r += 1) for (let c = col; c < col + cols; c += 1) run(r, c);
}

function linesIn({ row, col, rows, cols }) {
  return store.grid.lines.filter(([a, b, c, d]) =>
    Math.min(a, c) >= row && Math.max(a, c) <= row + rows && Math.min(b, d) >= col && Math.max(b, d) <= col + cols);
}

export function clearArea() {
  const { area } = view;
  if (!area) return;
  const cells = [];
  eachIn(area, (row, col) => {
    cells.push(row, col, 0);
    view.setCell(row, col, 0);
  });
  const gone = linesIn(area);
  store.grid.lines = store.grid.lines.filter((line) => !gone.includes(line));
  keepByHand({ cells, lines: gone.map((line) => [...line, 0]) }, "An area cleared");
  finish();
}

export function fillArea() {
  const { area } = view;
  if (!area) return;
  const cells = [];
  eachIn(area, (row, col) => {
    cells.push(row, col, 1);
    view.setCell(row, col, 1);
  });
  keepByHand({ cells }, "An area filled");
  finish();
}

/** What stands in the area stays as it is, whatever is adjusted later. */
export function holdArea() {
  const { area } = view;
  if (!area) return;
  const cells = [];
  eachIn(area, (row, col) => cells.push(row, col, store.grid.at(row, col)));
  keepByHand({ cells, lines: linesIn(area).map((line) => [...line, 1]), hold: true }, "An area kept as it is");
  finish();
}

/** Whether something of a picture lies under the marked area. */
export function onPicture() {
  const { area } = view;
  if (!area || store.state?.what !== "picture") return false;
  const [top, left, rows, cols] = store.view.motif;
  return area.row < top + rows && area.row + area.rows > top && area.col < left + cols && area.col + area.cols > left;
}

/** The picture under the area is made in full detail, or left out: in the picture, so at every size. */
export function markPicture(what) {
  if (!onPicture()) {
    tell("say", "There is no picture under this area.");
    return;
  }
  keepArea(what, view.area, what === "keep" ? "Full detail in a part" : "A part of the picture left out");
  tell("say", what === "keep" ? "Full detail in this part." : "This part of the picture is left out.");
  finish();
}

export function releaseArea() {
  const { area } = view;
  if (!area) return;
  keepByHand({ release: [area.row, area.col, area.rows, area.cols] }, "Corrections in an area taken back").then(() => tell("reload"));
  finish();
}

export function lift(copy) {
  const { area } = view;
  if (!area) return;
  const cells = new Uint8Array(area.rows * area.cols);
  let at = 0;
  eachIn(area, (row, col) => {
    cells[at] = store.grid.at(row, col);
    at += 1;
  });
  const lines = linesIn(area).map(([a, b, c, d]) => [a - area.row, b - area.col, c - area.row, d - area.col]);
  const linesFrom = linesIn(area);
  view.floating = { ...area, cells, lines, linesFrom, copy, from: { ...area } };
  view.area = null;
  if (!copy) {
    eachIn(area, (row, col) => view.setCell(row, col, 0));
    const gone = new Set(linesFrom.map(lineName));
    store.grid.lines = store.grid.lines.filter((line) => !gone.has(lineName(line)));
  }
  view.draw();
  tell("tool");
}

export function turnFloating(how) {
  const block = view.floating;
  if (!block) return;
  const { rows, cols, cells } = block;
  const fresh = new Uint8Array(cells.length);
  const put = {
    mirror: (r, c) => r * cols + (cols - 1 - c),
    flip: (r, c) => (rows - 1 - r) * cols + c,
    turn: (r, c) => c * rows + (rows - 1 - r),
  }[how];
  for (let r = 0; r < rows; r += 1) for (let c = 0; c < cols; c += 1) fresh[put(r, c)] = cells[r * cols + c];
  const spot = {
    mirror: (r, c) => [r, cols - c],
    flip: (r, c) => [rows - r, c],
    turn: (r, c) => [c, rows - r],
  }[how];
  block.lines = block.lines.map(([a, b, c, d]) => [...spot(a, b), ...spot(c, d)]);
  block.cells = fresh;
  if (how === "turn") [block.rows, block.cols] = [cols, rows];
  view.draw();
}

function beginMoving(at) {
  const here = square(at, false);
  const block = view.floating;
  const within = here.row >= block.row && here.col >= block.col && here.row < block.row + block.rows && here.col < block.col + block.cols;
  if (!within) {
    putDown();
    return;
  }
  gesture = { kind: "carry", from: square(at), row: block.row, col: block.col };
}

export function putDown() {
  const block = view.floating;
  if (!block) return;
  view.floating = null;
  const changed = new Map();
  const lines = [];
  if (!block.copy) {
    eachIn(block.from, (row, col) => changed.set(`${row},${col}`, [row, col, 0]));
    for (const line of block.linesFrom) lines.push([...line, 0]);
  }
  for (let r = 0; r < block.rows; r += 1) {
    for (let c = 0; c < block.cols; c += 1) {
      const row = block.row + r;
      const col = block.col + c;
      // A copy lays its stitches over what is there; bare squares of it leave the ground alone.
      if (!store.grid.inside(row, col) || !block.cells[r * block.cols + c]) continue;
      changed.set(`${row},${col}`, [row, col, 1]);
    }
  }
  const cells = [];
  for (const [row, col, on] of changed.values()) {
    cells.push(row, col, on);
    view.setCell(row, col, on);
  }
  const moved = block.lines.map(([a, b, c, d]) => [a + block.row, b + block.col, c + block.row, d + block.col])
    .filter(([a, b, c, d]) => Math.min(a, b, c, d) >= 0 && Math.max(a, c) <= store.grid.rows && Math.max(b, d) <= store.grid.columns);
  for (const line of moved) {
    if (store.grid.findLine(line) < 0) store.grid.lines.push(line);
    lines.push([...line, 1]);
  }
  keepByHand({ cells, lines }, block.copy ? "A part copied" : "A part moved");
  finish();
}

export function dropFloating() {
  if (!view.floating) return;
  view.floating = null;
  tell("reload");
  finish();
}

function finish() {
  view.area = null;
  corner = null;
  view.draw(true);
  tell("edited");
  tell("tool");
}

// ---- keys ----------------------------------------------------------------------------------------------------------

const ARROWS = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] };

function key(event) {
  const grid = store.grid;
  if (!grid) return;
  const control = event.ctrlKey || event.metaKey;
  if (ARROWS[event.key]) {
    const step = (event.shiftKey ? 10 : 1) * (view.cursorOnHole && tools.halves ? 0.5 : 1);
    const [dr, dc] = ARROWS[event.key];
    if (view.floating) {
      view.floating.row += dr * step;
      view.floating.col += dc * step;
    } else if (control) {
      view.pan(-dc * 60, -dr * 60);
    } else {
      view.cursor.row += dr * step;
      view.cursor.col += dc * step;
      place();
      view.reveal(view.cursor.row, view.cursor.col);
      if (corner && tools.name === "area") view.area = areaBetween(corner, view.cursor);
      if (corner && tools.name === "line") view.draft = [...corner, view.cursor.row, view.cursor.col];
      tell("cursor");
    }
    view.draw();
  } else if (control) {
    return;
  } else if (event.key === " " || event.key === "Enter") {
    act();
  } else if (event.key === "+" || event.key === "=") {
    view.zoom(1.25, ...cursorPoint());
  } else if (event.key === "-") {
    view.zoom(0.8, ...cursorPoint());
  } else if (event.key === "0") {
    view.fit();
  } else if (event.key === "Escape") {
    if (view.floating) dropFloating();
    else if (view.area || corner || view.draft) finish();
    view.draft = null;
    view.draw();
  } else if (event.key === "Delete" || event.key === "Backspace") {
    clearArea();
  } else if (event.key === "m") {
    lift(false);
  } else if (event.key === "c") {
    lift(true);
  } else if (event.key === "k") {
    holdArea();
  } else if (event.key === "d" && view.area) {
    markPicture("keep");
  } else if (event.key === "o" && view.area) {
    markPicture("clear");
  } else if (/^[1-4]$/.test(event.key)) {
    choose(["look", "stitch", "line", "area"][Number(event.key) - 1]);
  } else {
    return;
  }
  event.preventDefault();
}

function cursorPoint() {
  if (!view.cursor) return [];
  return [view.left + (view.cursor.col + 0.5) * view.scale, view.top + (view.cursor.row + 0.5) * view.scale];
}

function act() {
  const begun = performance.now();
  const { row, col } = view.cursor;
  if (view.floating) {
    putDown();
  } else if (tools.name === "stitch") {
    gesture = { kind: "stitch", on: store.grid.at(row, col) ? 0 : 1, changed: new Map(), grid: store.grid };
    stitchOne(row, col);
    stopGesture();
    view.draw(true);
    tell("cursor");
    performance.measure("hand-edit", { start: begun, end: performance.now() });
  } else if (tools.name === "line") {
    if (!corner) {
      corner = [row, col];
      tell("say", "The line begins here. Move to its other end and press Space.");
      return;
    }
    const line = [...corner, row, col];
    corner = null;
    view.draft = null;
    if (line[0] !== line[2] || line[1] !== line[3]) toggleLine(line);
    tell("say", store.grid.findLine(line) >= 0 ? "Line put in." : "Line taken out.");
  } else if (tools.name === "area") {
    if (!corner) {
      corner = { row, col };
      view.area = areaBetween(corner, corner);
      tell("say", "First corner. Move to the other corner and press Space.");
      view.draw();
      return;
    }
    view.area = areaBetween(corner, view.cursor);
    corner = null;
    view.draw();
    tell("tool");
    tell("say", `Area of ${view.area.cols} by ${view.area.rows} stitches. Choose what to do with it under the chart.`);
  } else {
    tell("cursor");
  }
}

export function historyKeys(event) {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  const typing = event.target.closest?.("input[type=text], input[type=number], textarea");
  if (typing) return;
  const letter = event.key.toLowerCase();
  if (letter === "z" && !event.shiftKey) {
    event.preventDefault();
    if (store.undo !== null) undo();
  } else if (letter === "y" || (letter === "z" && event.shiftKey)) {
    event.preventDefault();
    if (store.redo !== null) redo();
  }
}
