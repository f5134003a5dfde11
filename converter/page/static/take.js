// Take it away: the leaflet, pictures, the chart file; where the work is kept.

import { store, on, keep, settled, tell } from "./store.js";
import { session } from "./api.js";
import { el, button, choice, check } from "./build.js";

const FILES = [
  ["leaflet", "Leaflet to print (PDF)"],
  ["chart-picture", "Chart as a picture"],
  ["cloth-picture", "Cloth as a picture"],
  ["chart-drawing", "Chart as a drawing (SVG)"],
  ["chart-file", "Chart file"],
  ["report", "Counts as text"],
  ["left-out", "What is left out, on the picture"],
];

export function setUpTake(body, state) {
  const paper = choice({ label: "Paper", options: [["A4", "A4"], ["letter", "Letter"]], chosen: (value) => keep({ options: { paper: value } }, "Paper") });
  const links = FILES.map(([kind, text], at) =>
    button(text, () => fetchFile(kind), { class: at === 0 ? "primary" : "", "data-take": kind }));
  const large = check({ label: "Larger squares, for tired eyes", changed: (value) => keep({ options: { large: value || null } }, "Larger squares") });
  const order = check({ label: "With the working order, length by length", changed: (value) => keep({ options: { order: value || null } }, "Working order") });
  const where = el("p", { class: "soft small" });
  body.append(paper.node, el("div", {}, large.node, order.node), el("div", { class: "downloads" }, links),
    el("p", { class: "soft small" }, "A picture you did not draw yourself may belong to somebody: ask before you sell or pass on a piece made from it."), where);

  async function fetchFile(kind) {
    await settled();
    tell("busy", true);
    try {
      const answer = await fetch(`/api/pieces/${store.piece}/take/${kind}`, { cache: "no-store" });
      if (!answer.ok) {
        const refused = await answer.json().catch(() => ({}));
        tell("trouble", new Error([refused.message, refused.hint].filter(Boolean).join(" ") || "The file could not be made."));
        return;
      }
      const name = decodeURIComponent((answer.headers.get("Content-Disposition") ?? "").split("''")[1] ?? "piece");
      const url = URL.createObjectURL(await answer.blob());
      const link = el("a", { href: url, download: name });
      document.body.append(link);
      link.click();
      link.remove();
      setTimeout(() => URL.revokeObjectURL(url), 60_000);
      tell("told", [`${name} is in your downloads.`]);
    } catch (error) {
      tell("trouble", error);
    } finally {
      tell("busy", false);
    }
  }

  on("state", () => {
    links.at(-1).hidden = !store.view.losses?.length;
    paper.set(store.state.options?.paper ?? "A4");
    large.set(store.state.options?.large);
    order.set(store.state.options?.order);
    where.textContent = `This piece is kept on this computer, in ${session.folder}; it is saved as you go.`;
    state.textContent = store.state.options?.paper === "letter" ? "Letter paper" : "A4 paper";
  });
}
