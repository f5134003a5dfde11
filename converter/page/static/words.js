// Figures as a stitcher reads them.

import { store } from "./store.js";

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
