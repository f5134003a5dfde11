// The piece that is open: what the program knows of it, what she is just changing, what is on its way to the disk.

import { get, send, Refused } from "./api.js";
import { Grid } from "./grid.js";

const listeners = new Map();

export function on(event, run) {
  if (!listeners.has(event)) listeners.set(event, []);
  listeners.get(event).push(run);
}

export function tell(event, detail) {
  for (const run of listeners.get(event) ?? []) run(detail);
}

export const store = {
  piece: null,
  state: null,
  view: null,
  grid: null,
  revision: 0,
  facts: null,
  squared: null, // what to say where the picture looks like squared paper
  undo: null,
  redo: null,
};

const queue = [];
let busy = false;
let wanted = null;
let previewing = false;
let previewed = false;
let resting = 0;
let inFull = false;
const REST_MS = 200;

function path(rest = "") {
  return `/api/pieces/${store.piece}${rest}`;
}

function take(answer, showView = true) {
  store.revision = answer.revision;
  store.state = answer.state;
  store.undo = answer.undo;
  store.redo = answer.redo;
  if (showView && answer.view) show(answer.view);
  else if (answer.view && store.grid?.rows === answer.view.rows && store.grid.columns === answer.view.columns) store.view = answer.view;
  tell("state");
}

function show(view) {
  const before = store.view;
  store.view = view;
  store.grid = new Grid(view);
  tell("view", { fresh: !before || before.rows !== view.rows || before.columns !== view.columns });
}

export async function open(id) {
  await settled();
  const answer = await get(`/api/pieces/${id}`);
  store.piece = id;
  store.view = null;
  store.facts = null;
  store.squared = null;
  take(answer);
  tell("open");
  wantFacts();
  lookForSquares();
}

export function opened(answer) {
  store.piece = answer.id;
  store.view = null;
  store.facts = null;
  store.squared = null;
  take(answer);
  tell("open");
  // The chart came without its lines, to be there at once: they follow.
  if (answer.unfinished) push({ kind: "look", body: {}, show: true });
  else wantFacts();
  lookForSquares();
}

export async function close() {
  await settled();
  store.piece = null;
  store.view = null;
  store.grid = null;
}

/** Waits until everything she did is on the disk. */
export function settled() {
  return new Promise((done) => {
    const look = () => (queue.length || busy ? setTimeout(look, 15) : done());
    look();
  });
}

export function pending() {
  return queue.length > 0 || busy;
}

/** Shows what a setting would give, without keeping it: about at once, exactly when the control rests. */
export function preview(change) {
  wanted = change;
  clearTimeout(resting);
  if (!previewing) runPreview();
}

/** The newest wish made in full; when it is kept it is there already. */
async function previewInFull(change) {
  if (inFull) {
    resting = setTimeout(previewInFull, REST_MS, change);
    return;
  }
  inFull = true;
  resting = 0;
  const { piece, revision } = store;
  try {
    const begun = performance.now();
    const answer = await send(path("/preview"), { change, full: true });
    const newest = !wanted && !previewing && !resting && !queue.length && !busy;
    if (newest && piece === store.piece && revision === store.revision) {
      show(answer.view);
      requestAnimationFrame(() => performance.measure("preview-in-full", { start: begun, end: performance.now() }));
    }
  } catch {
    // Letting the control go will say what is wrong.
  }
  inFull = false;
}

async function runPreview() {
  previewing = true;
  let change = null;
  while (wanted) {
    change = wanted;
    wanted = null;
    try {
      const begun = performance.now();
      const { piece, revision } = store;
      const answer = await send(path("/preview"), { change });
      // What came after it on the disk counts more.
      if (!queue.length && !busy && piece === store.piece && revision === store.revision) {
        previewed = true;
        show(answer.view);
        // The chart paints in the frame that comes; this runs after it.
        requestAnimationFrame(() => performance.measure("preview", { start: begun, end: performance.now() }));
      }
    } catch (error) {
      if (!(error instanceof Refused) || error.status !== 422) tell("trouble", error);
      else tell("refused", error);
    }
  }
  previewing = false;
  if (previewed && !queue.length && !busy) resting = setTimeout(previewInFull, REST_MS, change);
}

/** Keeps a change of settings, materials, border, name: `change` is a part of the state. */
export function keep(change, label) {
  wanted = null;
  clearTimeout(resting);
  resting = 0;
  return push({ kind: "steps", body: { change, label }, show: true });
}

/** Keeps what she corrected on the chart; the chart on the screen has it already. */
export function keepByHand(hand, label) {
  return push({ kind: "steps", body: { hand: { rows: store.grid.rows, columns: store.grid.columns, ...hand }, label }, show: false });
}

/** Keeps a part of the picture in full detail ("keep"), or leaves it out ("clear"). */
export function keepArea(what, { row, col, rows, cols }, label) {
  const area = { rows: store.grid.rows, columns: store.grid.columns, do: what, box: [row, col, rows, cols] };
  return push({ kind: "steps", body: { area, label }, show: true });
}

/** Takes back what was said of a part of the picture. */
export function dropArea(name, label) {
  return push({ kind: "steps", body: { area: { drop: name }, label }, show: true });
}

export function undo() {
  return push({ kind: "undo", body: {}, show: true });
}

export function redo() {
  return push({ kind: "redo", body: {}, show: true });
}

function push(item) {
  return new Promise((done) => {
    queue.push({ ...item, done, piece: store.piece });
    tell(item.kind === "look" ? "looking" : "saving");
    if (!busy) work();
  });
}

async function work() {
  busy = true;
  while (queue.length) {
    const item = queue[0];
    let answer = null;
    try {
      answer = await deliver(item);
    } catch (error) {
      if (error.code === "gone") {
        // Keep what she did and try again: the program may be starting anew.
        tell("waiting", error);
        await new Promise((later) => setTimeout(later, 1500));
        continue;
      }
      tell("trouble", error);
      await refresh();
    }
    queue.shift();
    if (answer && item.piece === store.piece) {
      const handStillOnItsWay = queue.some((other) => other.kind === "steps" && other.body.hand);
      take(answer, (item.show || answer.merged || previewed) && !handStillOnItsWay);
      previewed = false;
      if (answer.told) tell("told", answer.told);
    }
    item.done(answer);
  }
  busy = false;
  tell("saved");
  wantFacts();
}

async function deliver(item) {
  if (item.kind === "look") return get(`/api/pieces/${item.piece}`);
  for (let turn = 0; ; turn += 1) {
    try {
      return await send(`/api/pieces/${item.piece}/${item.kind}`, { ...item.body, revision: store.revision });
    } catch (error) {
      if (error.code !== "stale" || turn > 3) throw error;
      // Another window moved the piece on. A step touches only what it names, so it goes on top of the newer state;
      // undo and redo would hit what the other window did, so they only show it.
      const newer = await get(path());
      take(newer);
      tell("told", ["This piece was changed in another window; its newest state is shown."]);
      if (item.kind !== "steps") return newer;
      item.show = true;
    }
  }
}

export async function refresh() {
  if (!store.piece) return;
  try {
    take(await get(path()));
  } catch (error) {
    tell("trouble", error);
  }
}

/** Looks once whether the picture is squared paper. */
async function lookForSquares() {
  const { piece } = store;
  if (store.squared || store.state.what !== "picture") return;
  store.squared = [];
  // The chart on the screen comes first.
  await new Promise((later) => setTimeout(later, 100));
  if (store.piece !== piece) return;
  try {
    const found = await get(path("/squares"));
    if (store.piece !== piece || !found.squares) return;
    store.squared = found.notes;
    tell("squared");
  } catch {
    // A picture that cannot be looked at as squared paper is simply a picture.
  }
}

let factsTimer = 0;
let factsFor = "";

export function wantFacts() {
  clearTimeout(factsTimer);
  factsTimer = setTimeout(loadFacts, 200);
}

async function loadFacts() {
  if (!store.piece || pending()) return;
  const key = `${store.piece}/${store.revision}`;
  if (factsFor === key && store.facts) return;
  factsFor = key;
  try {
    const facts = await get(path("/facts"));
    if (factsFor !== key) return;
    store.facts = facts;
    tell("facts");
  } catch (error) {
    factsFor = "";
    tell("trouble", error);
  }
}
