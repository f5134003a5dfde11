// Small helpers to build the controls.

let numbers = 0;

export function el(name, attributes = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (key === "class") node.className = value;
    else if (value === true) node.setAttribute(key, "");
    else node.setAttribute(key, String(value));
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return node;
}

export function button(text, run, attributes = {}) {
  return el("button", { type: "button", onclick: run, ...attributes }, text);
}

/** A labelled slider: `moving` runs while it moves, `left` when it is let go. */
export function slider({ label, low, high, step = 1, ends, moving, left, unit = "" }) {
  numbers += 1;
  const id = `slider-${numbers}`;
  const shown = el("output", { for: id });
  const input = el("input", { type: "range", id, min: low, max: high, step });
  const say = () => {
    shown.textContent = `${input.value}${unit}`;
    input.setAttribute("aria-valuetext", `${input.value}${unit}`);
  };
  input.addEventListener("input", () => {
    say();
    moving?.(Number(input.value));
  });
  input.addEventListener("change", () => left(Number(input.value)));
  const node = el("div", { class: "field" },
    el("div", { class: "slider-head" }, el("label", { for: id, class: "legend" }, label), shown),
    input,
    ends ? el("div", { class: "slider-ends", "aria-hidden": "true" }, el("span", {}, ends[0]), el("span", {}, ends[1])) : null);
  return {
    node,
    input,
    set(value) {
      if (document.activeElement === input && input.matches(":active")) return;
      input.value = value;
      say();
    },
  };
}

/** One of several, as a group of radio buttons. */
export function choice({ label, options, chosen, extra = {} }) {
  numbers += 1;
  const name = `choice-${numbers}`;
  const inputs = new Map();
  const labels = options.map(([value, text]) => {
    const input = el("input", { type: "radio", name, value, onchange: () => chosen(value) });
    inputs.set(value, input);
    return el("label", {}, input, el("span", {}, text));
  });
  const node = el("fieldset", { class: "field", ...extra }, el("legend", {}, label), el("div", { class: "choices" }, labels));
  return {
    node,
    inputs,
    set(value) {
      const input = inputs.get(value);
      if (input) input.checked = true;
      else for (const other of inputs.values()) other.checked = false;
    },
  };
}

export function numberField({ label, low, high, step = 1, changed, suffix = "" }) {
  numbers += 1;
  const id = `number-${numbers}`;
  const input = el("input", { type: "number", id, min: low, max: high, step, inputmode: "decimal" });
  input.addEventListener("change", () => {
    const value = Number(input.value);
    if (!Number.isFinite(value) || input.value === "") return;
    const held = Math.max(low, Math.min(high, value));
    input.value = held;
    changed(held);
  });
  return {
    node: el("div", { class: "field" }, el("label", { for: id }, label),
      el("div", { class: "row" }, input, suffix ? el("span", { class: "soft" }, suffix) : null)),
    input,
    set(value) {
      if (document.activeElement !== input) input.value = value ?? "";
    },
  };
}

export function check({ label, changed }) {
  const input = el("input", { type: "checkbox", onchange: () => changed(input.checked) });
  return { node: el("label", { class: "check" }, input, el("span", {}, label)), input, set: (value) => { input.checked = Boolean(value); } };
}

export function pick({ label, options, changed }) {
  numbers += 1;
  const id = `pick-${numbers}`;
  const select = el("select", { id, onchange: () => changed(select.value) },
    options.map(([value, text]) => el("option", { value }, text)));
  return {
    node: el("div", { class: "field" }, el("label", { for: id }, label), select),
    select,
    set(value) {
      select.value = value;
    },
  };
}

export function textField({ label, changed, attributes = {} }) {
  numbers += 1;
  const id = `text-${numbers}`;
  const input = el("input", { type: "text", id, autocomplete: "off", onchange: () => changed(input.value), ...attributes });
  return {
    node: el("div", { class: "field" }, el("label", { for: id }, label), input),
    input,
    set(value) {
      if (document.activeElement !== input) input.value = value ?? "";
    },
  };
}

export function colourField({ label, changed }) {
  numbers += 1;
  const id = `colour-${numbers}`;
  const input = el("input", { type: "color", id, onchange: () => changed(input.value) });
  return {
    node: el("div", { class: "field" }, el("label", { for: id }, label), input),
    input,
    set(value) {
      if (document.activeElement !== input) input.value = value;
    },
  };
}
