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
