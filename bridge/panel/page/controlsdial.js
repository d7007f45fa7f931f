// A slider of the target: it follows what the bridge says unless a hand is on it, and tells the bridge while it moves.

import { el, mark, slider } from "./dom.js";
import { onPress } from "./press.js";

const OURS_MS = 2000; // after a touch, until the bridge says the same, what it says is older; but no longer than this
const LEAST_MS = 300;
const SAME = 0.012;
const CONFIRMED = 0.002;

export class Dial {
  // `word` is the address' last word and the key in the frame; `names` the key of its named values in the scene's targets.
  // The slider shows `scale` times the value that is told.
  constructor(app, wire, { label, word, min, max, step, words, names = "", scale = 1 }) {
    Object.assign(this, { app, wire, word, min, max, names, touchedAt: -Infinity });
    const made = slider(label, { min: min * scale, max: max * scale, step: step * scale, words, input: (value) => this.put(value / scale) });
    this.range = made.range;
    this.range.id = `dial-${word}`;
    this.show = (value) => made.set(value * scale);
    this.named = el("div", { class: "named", role: "group", "aria-label": `${label}: named` });
    this.row = el("div", { class: `dial dial-${word}` }, made.row, names ? this.named : null);
    this.value = min;
  }

  // Another target or show: its named values as buttons, the usual one among them.
  rename(target) {
    if (!this.names || !target) return;
    const named = Object.entries(target[this.names] ?? {});
    const usual = target[this.word];
    this.most = Math.max(this.max, usual * 1.5, ...named.map(([, value]) => value * 1.25));
    this.range.max = String(this.most);
    const all = named.length ? [["usual", usual, usual], ...named.map(([name, value]) => [name, value, name])] : [];
    this.values = all.sort((a, b) => a[1] - b[1]);
    this.buttons = this.values.map(([name, value, sent]) => {
      const button = el("button", { type: "button", "aria-pressed": "false", title: `${value} m` }, name);
      onPress(button, () => this.name(value, sent));
      return button;
    });
    this.named.replaceChildren(...this.buttons);
    this.named.hidden = !named.length;
  }

  name(value, sent) {
    this.ours(value);
    this.wire.now(this.address, sent);
  }

  nextNamed() {
    if (!this.values?.length) return this.app.say(`This target has no named ${this.names} in stage.yaml.`);
    const after = this.values.find(([, value]) => value > this.value + SAME) ?? this.values[0];
    return this.name(after[1], after[2]);
  }

  get address() {
    return `/target/${this.app.hand.target}/${this.word}`;
  }

  // From the slider, or from keys and pads: told at once, at most 60 times a second.
  put(value) {
    this.ours(value);
    this.wire.soon(this.address, Number(value.toFixed(4)));
    this.moved?.(value);
  }

  nudge(by) {
    const value = Math.min(this.most ?? this.max, Math.max(this.min, this.value + by));
    if (value !== this.value) this.put(value);
  }

  get touched() {
    return this.touchedAt > -Infinity;
  }

  ours(value) {
    this.touchedAt = performance.now();
    this.value = value;
    this.show(value);
    this.press();
  }

  // What the bridge says.
  follow(value) {
    const since = performance.now() - this.touchedAt;
    const early = since < Math.max(LEAST_MS, 2 * (this.app.link.roundTripMs ?? 0)); // it may tell of the way that it came
    if (Math.abs(this.value - value) < CONFIRMED && !early) this.touchedAt = -Infinity;
    else if (since > OURS_MS) this.value = value;
    this.show(this.value);
    this.press();
  }

  press() {
    this.values?.forEach(([, value], number) => mark(this.buttons[number], "aria-pressed", Math.abs(value - this.value) < SAME));
  }
}
