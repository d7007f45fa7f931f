// The light of the target: a word for how it is, bring up and fade out over a chosen time, and its level.

import { Dial } from "./controlsdial.js";
import { el, mark, write } from "./dom.js";
import { onPress } from "./press.js";
import { wordOf } from "./words.js";

const TIMES_S = [0, 0.5, 1, 2, 4];
const LIT = 0.003;
const MOVING_MS = 250;

export class Light {
  constructor(app, wire) {
    Object.assign(this, { app, wire, wanted: new Map(), heard: new Map(), slidAt: -Infinity });
    this.level = new Dial(app, wire, { label: "Level", word: "level", min: 0, max: 1, step: 0.01, scale: 100, words: (v) => `${Math.round(v)} %` });
    this.level.moved = (value) => {
      this.slidAt = performance.now();
      this.want(value);
    };
    this.word = el("span", { class: "word" });
    this.more = el("span", { class: "small" });
    this.state = el("p", { class: "light-state", "data-shape": "ring" }, el("span", { class: "shape", "aria-hidden": "true" }), this.word, this.more);
    this.up = el("button", { type: "button", class: "big up" }, el("span", { class: "label" }, "Bring up"), (this.upTo = el("span", { class: "small", "aria-hidden": "true" })));
    this.out = el("button", { type: "button", class: "big out" }, el("span", { class: "label" }, "Fade out"), (this.outIn = el("span", { class: "small", "aria-hidden": "true" })));
    onPress(this.up, () => this.bringUp());
    onPress(this.out, () => this.fadeOut());
    this.times = TIMES_S.map((time) => onPress(el("button", { type: "button", "aria-label": `${time} s` }, String(time)), () => this.chooseTime(time)));
    this.pair = el("div", { class: "pair" }, this.up, this.out);
    this.parts = [
      this.state,
      this.pair,
      el("div", { class: "times", role: "group", "aria-label": "Over how many seconds" }, el("span", { class: "label" }, "over, s"), ...this.times),
      this.level.row,
    ];
    this.chooseTime(this.seconds);
  }

  get seconds() {
    const kept = this.app.settings.get("fade", 1);
    return TIMES_S.includes(kept) ? kept : 1;
  }

  chooseTime(time) {
    this.app.settings.set("fade", time);
    this.times.forEach((button, number) => mark(button, "aria-pressed", TIMES_S[number] === time));
    this.label();
  }

  // The level to which a performer is brought up: the last that anybody set by hand.
  get goal() {
    return this.wanted.get(this.app.hand.target) ?? 1;
  }

  want(level) {
    if (level > LIT) this.wanted.set(this.app.hand.target, level);
    this.label();
  }

  label() {
    write(this.upTo, `to ${Math.round(this.goal * 100)} % in ${this.seconds} s`);
    write(this.outIn, `in ${this.seconds} s`);
  }

  bringUp() {
    this.level.touchedAt = -Infinity;
    this.wire.now(`/target/${this.app.hand.target}/level`, this.goal, this.seconds);
  }

  fadeOut() {
    this.level.touchedAt = -Infinity;
    this.wire.now(`/target/${this.app.hand.target}/level`, 0, this.seconds);
  }

  write(target, frame) {
    const moving = this.listen(target);
    this.level.follow(target.level);
    if (!moving && !this.level.touched) this.want(target.level);
    const [shape, word, more] = this.tell(target, frame, moving);
    mark(this.state, "data-shape", shape);
    write(this.word, word);
    write(this.more, more);
  }

  // Which way the level goes by itself now: 1, -1, or 0 where it has stood for a while.
  listen(target) {
    const now = performance.now();
    const past = this.heard.get(target.name) ?? { level: target.level, at: -Infinity, way: 0 };
    if (target.level !== past.level) this.heard.set(target.name, { level: target.level, at: now, way: Math.sign(target.level - past.level) });
    else this.heard.set(target.name, past);
    const { at, way } = this.heard.get(target.name);
    return now - at < MOVING_MS ? way : 0;
  }

  tell(target, frame, moving) {
    const crew = this.app.store.crew(target.name);
    const lit = crew.filter((head) => head.level > LIT).length;
    const count = `${lit} of ${crew.length} heads lit`;
    if (!frame.bridge.armed) return ["ring", "Dark", "not armed: nothing is sent"];
    if (frame.bridge.dark) return ["cross", "Dark", "everything is dark"];
    if (!crew.length) return ["ring", "Dark", "no head follows"];
    if (moving && performance.now() - this.slidAt > MOVING_MS) {
      return moving > 0 ? ["triangle", "Coming up", count] : ["down", "Fading out", count];
    }
    if (target.level <= LIT) return ["ring", lit ? "Fading out" : "Dark", lit ? count : "follows in the dark"];
    if (lit) return ["dot", "Lit", count];
    return ["ring", "No light", wordOf(commonest(crew.map((head) => head.state))).toLowerCase()];
  }
}

function commonest(words) {
  const counts = new Map();
  for (const word of words) counts.set(word, (counts.get(word) ?? 0) + 1);
  return [...counts].sort((a, b) => b[1] - a[1])[0]?.[0] ?? "";
}
