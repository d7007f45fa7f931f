// A question that wants a yes before anything happens, and small pieces that the focus session's parts share.

import { el } from "./dom.js";

// Resolves true for the yes; a press beside it, Escape or the no give false.
export function yes(text, { yes: word = "Yes", no = "No" } = {}) {
  return new Promise((resolve) => {
    const box = el("dialog", { class: "f-ask", "aria-label": text });
    const end = (answer) => {
      if (box.isConnected) box.remove();
      resolve(answer);
    };
    box.append(
      el("p", {}, text),
      el("div", { class: "f-row" },
        el("button", { type: "button", class: "f-big", onclick: () => end(false) }, no),
        el("button", { type: "button", class: "f-big f-main", onclick: () => end(true) }, word)),
    );
    box.addEventListener("cancel", () => end(false));
    box.addEventListener("close", () => end(false));
    document.body.append(box);
    box.showModal();
  });
}

export function big(label, onclick, props = {}) {
  return el("button", { type: "button", class: "f-big", onclick, ...props }, label);
}

// Buttons of which one is chosen: `set(value)` shows it, `press(value)` is asked for.
export function choice(label, options, press) {
  const buttons = new Map(options.map(([value, words]) => [value, big(words, () => press(value), { "aria-pressed": "false" })]));
  const row = el("div", { class: "f-row f-choice", role: "group", "aria-label": label }, ...buttons.values());
  const set = (value) => {
    for (const [other, button] of buttons) {
      const pressed = String(other === value);
      if (button.getAttribute("aria-pressed") !== pressed) button.setAttribute("aria-pressed", pressed);
    }
  };
  return { row, set, buttons };
}

export const cm = (metres) => (metres === null || metres === undefined ? "unknown" : `${metres < 0.1 ? (100 * metres).toFixed(1) : Math.round(100 * metres)} cm`);

// Run something at once and again and again while a button is held, by pointer or by key.
export function held(button, run, { first = 380, every = 160, end = () => {} } = {}) {
  let timer = 0;
  const stop = () => {
    if (!timer) return;
    clearTimeout(timer);
    timer = 0;
    end();
  };
  const again = () => {
    run();
    timer = setTimeout(again, every);
  };
  const start = () => {
    stop();
    run();
    timer = setTimeout(again, first);
  };
  button.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    button.setPointerCapture(event.pointerId);
    start();
  });
  for (const name of ["pointerup", "pointercancel", "lostpointercapture", "blur"]) button.addEventListener(name, stop);
  button.addEventListener("keydown", (event) => {
    if (event.key !== " " && event.key !== "Enter") return;
    event.preventDefault();
    if (!event.repeat) start();
  });
  button.addEventListener("keyup", (event) => {
    if (event.key === " ") event.preventDefault(); // no click after what the key has done
    stop();
  });
  button.addEventListener("contextmenu", (event) => event.preventDefault());
  // a press that came neither from a pointer nor from a key: a screen reader's
  button.addEventListener("click", (event) => {
    if (event.detail === 0 && !event.pointerType) {
      run();
      end();
    }
  });
}
