// The dialog Keys and pad: every action with its key and pad button, changeable by pressing one; and how the pad steers.

import { keyWords, padWords } from "./bindings.js";
import { el, mark, write } from "./dom.js";
import { keyOf } from "./keys.js";
import { PadPanel } from "./padpanel.js";
import { onPress } from "./press.js";

const DOWN = 0.5;
const NEVER = new Set(["Tab", "Escape", "Control", "Alt", "Meta", "CapsLock", "AltGraph", "Dead", "Unidentified", "Process"]);

export class KeysDialog {
  constructor(app, controls) {
    Object.assign(this, { app, controls, bindings: controls.bindings, waiting: null });
    this.said = el("p", { class: "said", role: "status" });
    this.pad = new PadPanel(app, controls);
    const close = onPress(el("button", { type: "button", class: "close", autofocus: true }, "Done"), () => this.dialog.close());
    const dark = onPress(el("button", { type: "button", class: "dark" }, "Everything dark"), () => app.dark(), { down: true }); // never out of reach
    const reset = onPress(el("button", { type: "button" }, "All as at first"), () => this.reset());
    this.dialog = el("dialog", { id: "keys", "aria-labelledby": "keys-title" },
      el("header", {}, el("h2", { id: "keys-title" }, "Keys and pad"), this.said, reset, dark, close),
      el("div", { class: "keys-body", tabindex: "0", role: "region", "aria-label": "Keys, buttons and pad" }, this.table(), this.pad.root));
    document.body.append(this.dialog);
    this.dialog.addEventListener("keydown", (event) => this.key(event), true);
    this.dialog.addEventListener("close", () => this.wait(null));
    this.dialog.addEventListener("cancel", (event) => this.waiting && event.preventDefault());
    controls.pad.heard.push((pad) => this.button(pad));
    this.bindings.onChange(() => this.write());
    this.write();
  }

  open() {
    this.controls.keys.releaseAll();
    write(this.said, "");
    this.dialog.showModal();
    this.pad.start(this.dialog);
  }

  table() {
    this.rows = this.bindings.table.map((action) => {
      const make = (kind, label) => onPress(el("button", { type: "button", class: "bind" }), () => this.wait({ kind, id: action.id, label, action }));
      const [key, pad] = [make("key", "key"), make("pad", "pad button")];
      const element = el("tr", {}, el("th", { scope: "row" }, action.words), el("td", {}, key), el("td", {}, pad));
      return { action, key, pad, element };
    });
    const head = el("thead", {}, el("tr", {}, el("th", { scope: "col" }, "What"), el("th", { scope: "col" }, "Key"), el("th", { scope: "col" }, "Pad button")));
    return el("table", { class: "bindings" }, head, el("tbody", {}, ...this.rows.map((row) => row.element)));
  }

  write() {
    for (const { action, key, pad } of this.rows) {
      const words = { key: keyWords(this.bindings.of("key", action.id)), pad: padWords(this.bindings.of("pad", action.id)) };
      for (const [kind, button] of [["key", key], ["pad", pad]]) {
        const waits = this.waiting?.id === action.id && this.waiting.kind === kind;
        write(button, waits ? `press a ${kind === "key" ? "key" : "button"}` : words[kind]);
        mark(button, "data-waiting", waits);
        mark(button, "aria-label", `${button.textContent}: ${kind === "key" ? "key" : "pad button"} for ${action.words}`);
      }
    }
  }

  // The next key or button is meant for this action. The same again: for none.
  wait(what) {
    const again = what && this.waiting?.id === what.id && this.waiting.kind === what.kind;
    if (again) this.bind(null);
    else {
      this.waiting = what;
      this.before = null;
      if (what) write(this.said, `Press the ${what.label} for: ${what.action.words}. Escape leaves it; a second tap binds nothing.`);
      this.write();
    }
  }

  bind(value) {
    const { kind, id, action, label } = this.waiting;
    this.waiting = null;
    const loser = this.bindings.bind(kind, id, value);
    const words = value === null ? "none" : kind === "key" ? keyWords(value) : padWords(value);
    write(this.said, loser ? `${words} was: ${loser.words}. That has no ${label} now.` : `${action.words}: ${words}.`);
    this.write();
  }

  key(event) {
    if (!this.waiting) return;
    event.stopPropagation();
    event.preventDefault();
    if (event.key === "Escape") {
      write(this.said, "Left as it was.");
      this.waiting = null;
      this.write();
    } else if (this.waiting.kind === "pad") write(this.said, "That is a key: press a button of the pad, or Escape.");
    else if (NEVER.has(event.key)) write(this.said, `${event.key} belongs to the browser: choose another key.`);
    else if (!event.repeat) this.bind(keyOf(event));
  }

  button(pad) {
    if (this.waiting?.kind !== "pad") return;
    const down = new Set(pad.buttons.flatMap((button, number) => (button.pressed || button.value > DOWN ? [number] : [])));
    const fresh = this.before && [...down].find((number) => !this.before.has(number));
    this.before = down;
    if (fresh !== undefined && fresh !== null) this.bind(fresh);
  }

  reset() {
    this.waiting = null;
    this.bindings.reset();
    this.pad.reset();
    write(this.said, "Keys, buttons and pad are as at first.");
  }
}
