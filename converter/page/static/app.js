// The page: begins, opens pieces, and joins the parts.

import { begin, get, send, session } from "./api.js";
import { store, on, tell, open, opened, close, keep, undo, redo, settled, pending, refresh } from "./store.js";
import { ChartView } from "./chart_view.js";
import { ClothView } from "./cloth_view.js";
import { setUpTools, forget, historyKeys, tools, choose } from "./tools.js";
import { setUpPicture } from "./picture.js";
import { setUpPurpose } from "./purpose.js";
import { setUpAdjust } from "./adjust.js";
import { setUpCorrect } from "./correct.js";
import { setUpBorder } from "./border.js";
import { setUpTake } from "./take.js";
import { setUpRows } from "./rows.js";
import { el, button } from "./build.js";
import { decodeBits, thumb, plural, rowInWords } from "./grid.js";
import { areasWords, beyondWords, sizeWords, hoursWords, hoursRange, readableWords } from "./words.js";

const $ = (id) => document.getElementById(id);
const chart = new ChartView($("chart"));
const cloth = new ClothView($("cloth"));

// ---- messages ------------------------------------------------------------------------------------------------------

let messageRun = null;

function message(text, act = null) {
  $("message-text").textContent = text;
  $("message-act").hidden = !act;
  if (act) $("message-act").textContent = act.text;
  messageRun = act?.run ?? null;
  $("message").hidden = !text;
}

$("message-close").addEventListener("click", () => message(""));
$("message-act").addEventListener("click", async () => {
  const run = messageRun;
  message("");
  await run?.();
});
on("trouble", (error) => {
  console.warn(error.message);
  message(error.message);
});
on("waiting", (error) => message(error.message));
on("told", (texts) => message(texts.join(" ")));
on("refused", (error) => message(error.message));
on("say", (text) => { $("cursor-say").textContent = text; });
on("busy", (is) => { $("busy").hidden = !is; });

// ---- the list of pieces --------------------------------------------------------------------------------------------

async function showStart() {
  await close();
  $("work").hidden = true;
  $("start").hidden = false;
  $("piece-head").hidden = true;
  $("history").hidden = true;
  $("to-pieces").hidden = true;
  $("brand").hidden = false;
  $("saved").textContent = "";
  document.title = "onecolour";
  window.scrollTo(0, 0);
  document.body.classList.remove("editing");
  $("kept-where").textContent = `Everything stays on this computer, in ${session.folder}.`;
  await showPieces();
}

async function showPieces() {
  const { pieces, thrown } = await get("/api/pieces");
  $("thrown-section").hidden = thrown.length === 0;
  $("thrown-state").textContent = plural(thrown.length, "piece");
  $("thrown").replaceChildren(...thrown.map((piece) => el("li", {}, el("span", {}, piece.name),
    button("Bring back", () => bringBack(piece.id), { class: "quiet", "aria-label": `Bring back ${piece.name}` }))));
  $("pieces-section").hidden = pieces.length === 0;
  $("pieces").replaceChildren(...pieces.map((piece) => {
    const picture = el("canvas", { "aria-hidden": "true" });
    const glance = piece.glance;
    if (glance.bits) thumb(picture, glance.rows, glance.columns, decodeBits(glance.bits, glance.rows, glance.columns), glance.lines, glance.thread);
    return el("li", { class: "piece" },
      button(el("span", { class: "thumb" }, picture), () => openPiece(piece.id), { class: "piece-open", "aria-label": `Open ${piece.name}` }),
      el("div", { class: "piece-label" }, piece.name),
      el("div", { class: "piece-acts" },
        button("Copy", async () => {
          await send(`/api/pieces/${piece.id}/copy`);
          await showPieces();
        }, { class: "quiet", "aria-label": `Copy ${piece.name}` }),
        button("Throw away", () => throwAway(piece), { class: "quiet", "aria-label": `Throw away ${piece.name}` })));
  }));
}

async function throwAway(piece) {
  try {
    await send(`/api/pieces/${piece.id}/throw-away`);
  } catch (error) {
    tell("trouble", error);
  }
  await showPieces();
  message(`“${piece.name}” is thrown away.`, {
    text: "Bring it back",
    run: () => bringBack(piece.id),
  });
  $("message-act").focus();
}

async function bringBack(id) {
  try {
    await send(`/api/pieces/${id}/bring-back`);
  } catch (error) {
    tell("trouble", error);
  }
  await showPieces();
}

async function openPiece(id, push = true) {
  try {
    await open(id);
  } catch (error) {
    tell("trouble", error);
    await showStart();
    return;
  }
  showWork(push);
}

function showWork(push) {
  $("start").hidden = true;
  $("work").hidden = false;
  $("piece-head").hidden = false;
  $("history").hidden = false;
  $("to-pieces").hidden = false;
  $("brand").hidden = true;
  if (push) history.pushState(null, "", `#${store.piece}`);
  window.scrollTo(0, 0);
  chart.resize();
  chart.fit();
  cloth.resize();
}

async function takeFile(file) {
  message("");
  $("drop").setAttribute("aria-busy", "true");
  document.body.style.cursor = "progress";
  try {
    const begun = performance.now();
    await settled();
    const answer = await send("/api/pieces", null, { raw: file, headers: { "X-File-Name": encodeURIComponent(file.name || "picture") } });
    opened(answer);
    showWork(true);
    chart.draw(true);
    performance.measure("first-chart", { start: begun, end: performance.now() });
  } catch (error) {
    tell("trouble", error);
  } finally {
    document.body.style.cursor = "";
    $("drop").removeAttribute("aria-busy");
  }
}

$("file").addEventListener("change", () => {
  const [file] = $("file").files;
  if (file) takeFile(file);
  $("file").value = "";
});
for (const event of ["dragenter", "dragover"]) {
  document.addEventListener(event, (moving) => {
    if (![...(moving.dataTransfer?.types ?? [])].includes("Files")) return;
    moving.preventDefault();
    $("drop").classList.add("over");
  });
}
document.addEventListener("dragleave", (moving) => {
  if (!moving.relatedTarget) $("drop").classList.remove("over");
});
document.addEventListener("drop", (moving) => {
  $("drop").classList.remove("over");
  const [file] = moving.dataTransfer?.files ?? [];
  if (!file) return;
  moving.preventDefault();
  takeFile(file);
});
document.addEventListener("paste", (moving) => {
  const [file] = moving.clipboardData?.files ?? [];
  if (file) takeFile(file);
});

// ---- the head ------------------------------------------------------------------------------------------------------

$("to-pieces").addEventListener("click", async () => {
  await showStart();
  history.pushState(null, "", "#");
});
$("name").addEventListener("change", () => {
  const name = $("name").value.trim().replace(/\s+/g, " ");
  if (name) keep({ name }, "Name");
  else $("name").value = store.state.name;
});
document.querySelector(".skip").addEventListener("click", (event) => {
  event.preventDefault();
  if (store.piece) $("chart").focus();
  else $("file").focus();
});
$("undo").addEventListener("click", undo);
$("redo").addEventListener("click", redo);
document.addEventListener("keydown", (event) => {
  if (store.piece) historyKeys(event);
});

on("state", () => {
  if (document.activeElement !== $("name")) $("name").value = store.state.name;
  document.title = `${store.state.name} – onecolour`;
  $("name").title = store.state.name;
  $("work-head").textContent = store.state.name;
  for (const [name, label, what] of [["undo", store.undo, "Undo"], ["redo", store.redo, "Redo"]]) {
    $(name).disabled = label === null;
    $(name).title = label ? `${what}: ${label}` : "";
    $(name).setAttribute("aria-label", label ? `${what}: ${label}` : what);
  }
});
let busyTimer = 0;
const showBusy = () => {
  clearTimeout(busyTimer);
  busyTimer = setTimeout(() => { $("busy").hidden = false; }, 400);
};
on("looking", showBusy);
on("saving", () => {
  $("saved").textContent = "Saving…";
  showBusy();
});
on("saved", () => {
  $("saved").textContent = "Saved";
  clearTimeout(busyTimer);
  $("busy").hidden = true;
});
on("open", () => {
  message("");
  forget();
  choose("look");
  $("saved").textContent = "Saved";
});
on("reload", refresh);

// ---- the chart and the cloth ---------------------------------------------------------------------------------------

on("view", ({ fresh }) => {
  if (fresh) {
    forget();
    if (chart.fitted) chart.fit();
    else chart.holdInside();
  }
  chart.draw();
  cloth.draw();
  sayChart();
});
on("edited", () => {
  cloth.draw();
  sayChart();
  showGlance();
});

function sayChart() {
  const grid = store.grid;
  const lines = grid.lines.length ? `, ${plural(grid.lines.length, "backstitch", "backstitches")}` : "";
  const parts = areasWords(store.view.areas);
  const words = `${grid.columns} stitches wide, ${grid.rows} high, ${plural(grid.stitches(), "stitch", "stitches")}${lines}${parts ? `; ${parts}` : ""}`;
  $("chart").setAttribute("aria-label", `Chart, ${words}`);
  $("cloth").setAttribute("aria-label", `How the piece will look on cloth: ${words}`);
}

on("cursor", () => {
  const grid = store.grid;
  const { row, col } = chart.cursor;
  if (tools.name === "line") {
    $("cursor-say").textContent = `Hole ${col} across, ${row} down`;
  } else {
    const on = grid.at(row, col) ? "stitched" : "bare";
    $("cursor-say").textContent = `Row ${row + 1}, ${col + 1} across: ${on}. Row: ${rowInWords(grid, row)}`;
  }
});

const wide = window.matchMedia("(min-width: 62rem)");

function showView(name) {
  document.querySelector(`#views input[value=${name}]`).checked = true;
  $("chart-pane").hidden = name === "cloth";
  $("cloth-pane").hidden = name === "chart";
  chart.resize();
  cloth.resize();
}

for (const input of document.querySelectorAll("#views input")) {
  input.addEventListener("change", () => showView(input.value));
}
$("zoom-in").addEventListener("click", () => chart.zoom(1.4));
$("zoom-out").addEventListener("click", () => chart.zoom(1 / 1.4));
$("zoom-fit").addEventListener("click", () => chart.fit());
$("step-correct").addEventListener("toggle", () => {
  if ($("step-correct").open && tools.name === "look") choose("stitch");
  // Correcting wants room: on a small screen the chart has it alone.
  if ($("step-correct").open && !wide.matches) showView("chart");
  if (!$("step-correct").open) choose("look");
});

// ---- at a glance ---------------------------------------------------------------------------------------------------

function showGlance() {
  const grid = store.grid;
  const facts = store.facts;
  const now = facts && !pending();
  const rows = [
    ["Stitches", grid.stitches().toLocaleString("en")],
    ["Finished", now ? sizeWords(facts.finished_mm) : sizeWords(finished(grid))],
    ["Thread", now ? threadWords(facts) : "…"],
    ["Time", now ? hoursWords(facts.hours) : "…", now ? hoursRange(facts.hours) : ""],
    ["Cloth to cut", now ? sizeWords(facts.cut_mm) : "…"],
    ["Readability", readableWords(store.view.readability)],
  ];
  $("glance").replaceChildren(...rows.filter(([, value]) => value).map(([name, value, range]) =>
    el("div", { class: ["Cloth to cut", "Readability"].includes(name) ? "extra" : "" },
      el("dt", {}, name), el("dd", {}, value, range ? el("span", { class: "range" }, ` ${range}`) : null))));
}

function finished(grid) {
  const cell = (25.4 / store.view.count) * store.view.over;
  return [grid.columns * cell, grid.rows * cell];
}

function threadWords(facts) {
  return plural(facts.skeins, "skein");
}

function showNotes() {
  const view = store.view;
  const beyond = store.facts && !pending() ? beyondWords(store.facts, store.state.options ?? {}) : [];
  const told = [...(view.told ?? []), ...(store.facts?.warnings ?? []), ...beyond];
  const squared = store.state.what === "picture" ? store.squared ?? [] : [];
  const notes = [...squared, ...(view.losses ?? [])];
  for (const note of store.facts?.notes ?? []) if (!notes.includes(note) && note !== view.reason) notes.push(note);
  $("notes").replaceChildren(
    ...told.map((text) => el("p", { class: "note told" }, text)),
    ...notes.filter(Boolean).map((text) => el("p", { class: "note" }, text)));
}

on("view", showGlance);
on("state", showNotes);
on("facts", () => {
  showGlance();
  showNotes();
});
on("squared", () => {
  showNotes();
  message("This looks like a motif on squared paper. It can be read square by square.", {
    text: "Read the squares",
    run: () => keep({ what: "squares" }, "Read from squared paper"),
  });
});

for (const [name, part] of [["--head", ".top"], ["--look", ".look"]]) {
  const node = document.querySelector(part);
  new ResizeObserver(() => document.documentElement.style.setProperty(name, `${node.offsetHeight}px`)).observe(node);
}

// The chart takes some colours from the theme.
for (const media of ["(prefers-color-scheme: dark)", "(forced-colors: active)"]) {
  window.matchMedia(media).addEventListener("change", () => chart.draw());
}

// ---- begin ---------------------------------------------------------------------------------------------------------

setUpTools(chart);
setUpPicture($("body-picture"), $("state-picture"));
setUpPurpose($("body-purpose"), $("state-purpose"));
setUpAdjust($("body-adjust"), $("state-adjust"));
setUpCorrect($("body-correct"), $("state-correct"), $("tray"), chart);
setUpBorder($("body-border"), $("state-border"), $("step-border"));
setUpTake($("body-take"), $("state-take"));
setUpRows($("body-rows"), $("state-rows"), $("step-rows"));

window.addEventListener("popstate", route);
window.addEventListener("beforeunload", (event) => {
  if (pending()) event.preventDefault();
});
// Another window may have moved the piece on while this one slept.
document.addEventListener("visibilitychange", async () => {
  if (document.visibilityState !== "visible" || !store.piece || pending()) return;
  try {
    const newer = await get(`/api/pieces/${store.piece}`);
    if (newer.revision !== store.revision && !pending()) {
      await refresh();
      tell("told", ["This piece was changed in another window; its newest state is shown."]);
    }
  } catch {
    // The next change will say what is wrong.
  }
});

async function route() {
  const id = location.hash.slice(1);
  if (/^[0-9a-f]{16}$/.test(id)) await openPiece(id, false);
  else await showStart();
}

try {
  await begin();
  await route();
} catch (error) {
  $("start").hidden = false;
  message(error.message);
}
// For whoever looks at the page with the browser's own tools, and for the tests.
window.onecolour = { chart, cloth, store };
document.documentElement.dataset.ready = "yes";
