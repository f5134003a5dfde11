// Figures as a stitcher reads them.

import { store } from "./store.js";
import { plural } from "./grid.js";

export function sizeWords(mm) {
  if (!mm) return "";
  return (store.state?.options?.units ?? "cm") === "in"
    ? `${(mm[0] / 25.4).toFixed(1)} × ${(mm[1] / 25.4).toFixed(1)} in`
    : `${(mm[0] / 10).toFixed(1)} × ${(mm[1] / 10).toFixed(1)} cm`;
}

export function hoursWords(hours) {
  if (!hours) return "";
  const likely = hours.likely;
  if (likely < 1) return `${Math.max(5, Math.round((likely * 60) / 5) * 5)} minutes`;
  return likely < 10 ? `${(Math.round(likely * 2) / 2).toLocaleString("en")} hours` : `${Math.round(likely)} hours`;
}

export function hoursRange(hours) {
  const round = (value) => (value < 10 ? Math.round(value * 2) / 2 : Math.round(value));
  return hours.likely < 1 ? "" : `(${round(hours.low)} to ${round(hours.high)})`;
}

export function readableWords(value) {
  if (value === undefined || value === null) return "";
  if (value >= 80) return "clear";
  if (value >= 60) return "fair";
  if (value >= 40) return "weak";
  return "hard to read";
}

/** How many parts of the picture are left out, and kept in full detail. */
export function areasWords(areas) {
  const count = (what) => (areas ?? []).filter((area) => area.do === what).length;
  const left = count("clear");
  const kept = count("keep");
  return [left ? `${plural(left, "part")} of the picture left out` : "", kept ? `${plural(kept, "part")} in full detail` : ""].filter(Boolean).join(", ");
}

/** Where a part of the picture lies on the chart, and how large it is there. */
export function areaWords(area, grid) {
  const rows = area.corners.map(([row]) => row);
  const cols = area.corners.map(([, col]) => col);
  const high = Math.max(1, Math.round(Math.max(...rows) - Math.min(...rows)));
  const wide = Math.max(1, Math.round(Math.max(...cols) - Math.min(...cols)));
  const third = (value, size, words) => words[Math.max(0, Math.min(2, Math.floor((3 * value) / size)))];
  const middle = (values) => (Math.max(...values) + Math.min(...values)) / 2;
  const up = third(middle(rows), grid.rows, ["top", "", "bottom"]);
  const across = third(middle(cols), grid.columns, ["left", "", "right"]);
  const where = [up, across].filter(Boolean).join(" ") || "middle";
  return `${wide} × ${high} squares, ${where}`;
}

const SHORT = [
  [/^a blank (?:column|row) .*so it stands (half a stitch .*)$/, "motif $1"],
  [/^(.+) set into each half of each side(?:, and .*)?$/, "$1 in each half side"],
  [/^(.+) set into each half of (.+?)(?:, and .*)?$/, "$1 in each half of $2"],
  [/^the strip turns back on itself in the middle of each side$/, "turns back in each middle"],
  [/^the strip turns back on itself in the middle of (.+)$/, "turns back in the middle of $1"],
  [/^a piece (\d+) stitches wide covers the middle of each side$/, "a piece of its own in each middle"],
  [/^a piece (\d+) stitches wide covers the middle of (.+)$/, "a piece of its own in the middle of $2"],
  [/^(.+) in the middle of each side$/, "$1 in each middle"],
  [/^every side is too short for the strip and stays bare$/, "the sides stay bare"],
  [/^(.+) are too short for the strip and stay bare$/, "$1 stay bare"],
  [/^top and bottom begin with another part of the repeat than left and right$/, "sides begin at another part of the repeat"],
];

/** What a border plan changes, short enough for a small card; the whole sentence stands beside the chosen plan. */
export function shortly(text) {
  const [, border, words] = text.match(/^(border \d+: )?(.*)$/s);
  for (const [pattern, short] of SHORT) if (pattern.test(words)) return (border ?? "") + words.replace(pattern, short);
  return text;
}

/** Where the piece goes over what she said she has. */
export function beyondWords(facts, options) {
  const over = [];
  const count = (number) => number.toLocaleString("en");
  if (options.hours && facts.hours.likely > options.hours) over.push(`Likely ${hoursWords(facts.hours)}: more than the ${count(options.hours)} you have.`);
  if (options.skeins && facts.skeins > options.skeins) over.push(`${plural(facts.skeins, "skein")}: more than the ${count(options.skeins)} you have.`);
  if (options.stitches && facts.stitches > options.stitches) over.push(`${plural(facts.stitches, "stitch", "stitches")}: more than the ${count(options.stitches)} you wanted at most.`);
  if (options.fit && facts.finished_mm.some((side, at) => side > options.fit[at] + 0.05)) over.push(`${sizeWords(facts.finished_mm)}: larger than the ${sizeWords(options.fit)} you have.`);
  return over;
}
