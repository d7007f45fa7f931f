// A question to the person before something that cannot be taken back by the same hand: a dialog, Escape says no.

import { el } from "./dom.js";

// Resolves with true or false. `yes` and `no` are the words on the buttons.
export function sure(text, yes, no = "Leave it") {
  return new Promise((resolve) => {
    const answer = (value) => () => {
      dialog.close();
      dialog.remove();
      resolve(value);
    };
    const dialog = el("dialog", { class: "sure", "aria-label": text },
      el("p", {}, text),
      el("div", { class: "row" },
        el("button", { type: "button", class: "big", onclick: answer(false), autofocus: true }, no),
        el("button", { type: "button", class: "big warn", onclick: answer(true) }, yes)));
    dialog.addEventListener("cancel", answer(false));
    document.body.append(dialog);
    dialog.showModal();
  });
}
