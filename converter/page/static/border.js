// Borders and letters round the piece, chosen from pictures of plans that fit.

import { store, on, keep, pending } from "./store.js";
import { send } from "./api.js";
import { el, button, numberField, textField, choice } from "./build.js";
import { decodeBits, thumb } from "./grid.js";
import { shortly } from "./words.js";

export function setUpBorder(body, state, details) {
  let extending = false;
  let shownFor = "";
  const gap = numberField({
    label: "Bare squares between motif and border", low: 0, high: 40,
    changed: (value) => {
      wantedGap = Math.round(value);
      const { border } = store.state;
      if (border) keep({ border: { ...border, gap: wantedGap, plan: "" } }, "Gap before the border");
      shownFor = "";
      load();
    },
  });
  let wantedGap = 3;
  const now = el("p", {});
  const changed = el("p", { class: "soft", hidden: true });
  let chosen = [];
  const without = button("No border", () => {
    const written = store.state.letters;
    const inBorder = written && ["border", "border-top"].includes(written.place);
    keep(inBorder ? { border: null, letters: { ...written, place: "below" } } : { border: null }, "No border");
  });
  const another = button("Another border outside it", () => {
    extending = !extending;
    showState();
    shownFor = "";
    load();
  }, { "aria-pressed": "false" });
  const ways = el("div", { class: "plans" });
  const waysHead = el("h3", {}, "Other ways with this border");
  const all = el("div", { class: "plans" });
  const allHead = el("h3", {}, "Borders that fit");
  const letters = (part, label = "Letters") => {
    const now = store.state.letters;
    const text = part.text ?? now?.text ?? "";
    if (text.trim()) keep({ letters: { place: "below", size: "auto", method: "crosses", ...now, ...part, text } }, label);
    else if (now) keep({ letters: null }, "No letters");
  };
  const text = textField({ label: "Name, date or words", changed: (value) => letters({ text: value.trim().replace(/\s+/g, " ") }), attributes: { maxlength: 60 } });
  const place = choice({ label: "Where", options: [["below", "Below the motif"], ["above", "Above it"], ["border", "In the border, below"], ["border-top", "In the border, above"]], chosen: (value) => letters({ place: value }) });
  const size = choice({ label: "Letters", options: [["auto", "As they fit"], ["small", "Small"], ["large", "Large"]], chosen: (value) => letters({ size: value }) });
  const method = choice({ label: "Worked in", options: [["crosses", "Crosses"], ["lines", "Backstitch"]], chosen: (value) => letters({ method: value }) });
  const how = el("div", { class: "step-body", hidden: true }, place.node, size.node, method.node);
  how.style.padding = "0";
  body.append(text.node, how, now, changed, el("div", { class: "row" }, gap.node), el("div", { class: "row" }, another, without), waysHead, ways, allHead, all);

  function card(plan) {
    const picture = el("canvas", { "aria-hidden": "true" });
    thumb(picture, plan.rows, plan.columns, decodeBits(plan.bits, plan.rows, plan.columns), plan.lines, store.view.thread);
    const { border } = store.state;
    const taken = border && border.plan === plan.plan;
    return button([el("span", { class: "thumb" }, picture), el("strong", {}, plan.strips.join(", then ")),
      el("span", {}, `${plan.columns} × ${plan.rows}, ${plan.corners.replaceAll(" x ", " × ")}`),
      el("span", { class: "soft" }, plan.deviations.map(shortly).join("; ") || "nothing had to be changed")],
    () => {
      extending = false;
      keep({ border: { strips: plan.strips, gap: wantedGap, plan: plan.plan } }, `Border: ${plan.strips.join(", ")}`);
    }, { class: "card", "aria-pressed": String(Boolean(taken)), title: plan.deviations.join("; ") || null });
  }

  async function load() {
    if (!details.open || !store.piece || pending()) return;
    const { border } = store.state;
    const base = extending && border ? border.strips : [];
    const key = [store.piece, store.revision, wantedGap, base.join()].join("/");
    if (key === shownFor) return;
    shownFor = key;
    try {
      const first = send(`/api/pieces/${store.piece}/borders`, { gap: wantedGap, onto: base });
      const second = border ? send(`/api/pieces/${store.piece}/borders`, { gap: wantedGap, strips: border.strips }) : null;
      const plans = (await first).plans;
      const others = second ? (await second).plans : [];
      if (key !== shownFor) return;
      chosen = [...others, ...plans];
      showChanged();
      allHead.textContent = base.length ? "Outside it could stand" : "Borders that fit";
      all.replaceChildren(...plans.map(card));
      ways.replaceChildren(...others.map(card));
      waysHead.hidden = !others.length;
    } catch (error) {
      shownFor = "";
      all.replaceChildren(el("p", { class: "note told" }, error.message));
    }
  }

  /** In full, what the chosen plan changes. */
  function showChanged() {
    const { border } = store.state;
    const plan = border && chosen.find((each) => each.plan === border.plan);
    changed.hidden = !plan;
    if (plan) changed.textContent = plan.deviations.length ? `So that it comes out even: ${plan.deviations.join("; ")}.` : "Nothing had to be changed for it.";
  }

  function showState() {
    const { border } = store.state;
    showChanged();
    without.hidden = !border;
    another.hidden = !border || border.strips.length >= 3;
    another.setAttribute("aria-pressed", String(extending));
    another.textContent = extending ? "Choose a single border instead" : "Another border outside it";
    if (border) wantedGap = border.gap ?? 3;
    gap.set(wantedGap);
    now.textContent = border ? `Round the motif: ${border.strips.join(", then ")}. The whole is ${store.view.columns} × ${store.view.rows} stitches.` : "Nothing round the motif yet. Choose from the pictures; each says what had to be changed so that it comes out even.";
    state.textContent = border ? border.strips.join(", ") : "none";
    const written = store.state.letters;
    text.set(written?.text ?? "");
    how.hidden = !written;
    place.set(written?.place ?? "below");
    size.set(written?.size ?? "auto");
    method.set(written?.method ?? "crosses");
    for (const value of ["border", "border-top"]) place.inputs.get(value).disabled = !border;
    if (written) state.textContent = [border ? border.strips.join(", ") : "", `“${written.text}”`].filter(Boolean).join(", ");
    waysHead.hidden = !ways.childElementCount;
  }

  details.addEventListener("toggle", load);
  on("open", () => {
    extending = false;
    shownFor = "";
    wantedGap = 3;
    chosen = [];
    ways.replaceChildren();
    all.replaceChildren();
  });
  on("state", showState);
  on("saved", load);
  on("open", load);
}
