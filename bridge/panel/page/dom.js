// Elements in one line, and words that are only written when they change.

const SVG = "http://www.w3.org/2000/svg";

// el("button", {class: "big", onclick: f, "aria-label": "Take"}, "Take", child)
export function el(tag, props = {}, ...children) {
  return fill(document.createElement(tag), props, children);
}

export function svg(tag, props = {}, ...children) {
  return fill(document.createElementNS(SVG, tag), props, children);
}

function fill(element, props, children) {
  for (const [key, value] of Object.entries(props)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

export function write(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

export function mark(element, name, value) {
  const text = String(value);
  if (element.getAttribute(name) !== text) element.setAttribute(name, text);
}

export const show = (element, yes) => {
  if (element.hidden === Boolean(yes)) element.hidden = !yes;
};

// A control with two states that tells them by a word and a shape. `press(on)` is asked for, `set(on)` is told.
export function switchButton(label, press, words = ["off", "on"]) {
  const word = el("span", { class: "word" }, words[0]);
  const button = el("button", { type: "button", role: "switch", "aria-checked": "false", "aria-label": label, class: "switch" },
    el("span", { class: "shape", "aria-hidden": "true" }), el("span", { class: "label" }, label), word);
  button.addEventListener("click", () => press(button.getAttribute("aria-checked") !== "true"));
  const set = (on) => {
    mark(button, "aria-checked", on);
    write(word, words[on ? 1 : 0]);
  };
  return { button, set };
}

// A slider with its value in words beside it. `input(value)` while it moves; `set` does not disturb a hand on it.
export function slider(label, { min, max, step, words, input }) {
  const out = el("output", { class: "value" });
  const range = el("input", { type: "range", min, max, step, "aria-label": label });
  let held = null;
  range.addEventListener("pointerdown", (event) => { held = event.pointerId; });
  const lift = (event) => { if (event.pointerId === held) held = null; };
  for (const name of ["pointerup", "pointercancel"]) window.addEventListener(name, lift, true); // wherever it is lifted
  const say = () => {
    write(out, words(Number(range.value)));
    mark(range, "aria-valuetext", words(Number(range.value)));
  };
  range.addEventListener("input", () => {
    say();
    input(Number(range.value));
  });
  const row = el("label", { class: "slider" }, el("span", { class: "label" }, label), range, out);
  const set = (value) => {
    if (held !== null || Math.abs(Number(range.value) - value) < step / 2) {
      if (!out.textContent) say();
      return;
    }
    range.value = String(value);
    say();
  };
  return { row, range, set };
}
