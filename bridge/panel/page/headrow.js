// One head in the list: its whole name, a word and a shape for its state, its level, and what can be done with it.

import { el, mark, show, write } from "./dom.js";
import { onPress } from "./press.js";
import { pieces, shapeOf, wordOf } from "./words.js";

const LIT = 0.003;
const ASKED_MS = 2000; // until the bridge says what was chosen, it says what was before

export class HeadRow {
  constructor(app, wire, head, number, { targets, desk }, changed) {
    Object.assign(this, { app, wire, head, number, chosen: false, lit: false, out: false, target: "", askedAt: -Infinity });
    this.word = el("span", { class: "word" });
    this.percent = el("span", { class: "value" });
    this.fill = el("span", { class: "fill" });
    this.state = el("span", { class: "state", "data-shape": "ring" }, el("span", { class: "shape", "aria-hidden": "true" }), this.word, this.percent);
    this.outButton = this.toggle("Out", "out", () => this.out);
    this.holdButton = this.toggle("Hold", "hold", () => this.held);
    this.deskButton = desk ? this.toggle("Desk", "desk", () => this.desks) : null;
    this.follows = targets.length > 1 ? this.chooser(targets) : null;
    this.pick = onPress(el("button", { type: "button", class: "pick", hidden: true, "aria-pressed": "false" }, "choose"), () => {
      this.choose(!this.chosen);
      changed();
    });
    this.element = el("div", { class: "head", "data-head": head.name },
      el("div", { class: "of-head" }, nameOf(head.name), this.state, el("span", { class: "level", "aria-hidden": "true" }, this.fill)),
      el("div", { class: "to-head" }, this.follows, this.deskButton, this.holdButton, this.outButton, this.pick));
  }

  toggle(text, word, now) {
    const button = el("button", { type: "button", class: word, "aria-pressed": "false", "aria-label": `${text} ${this.head.name}` }, text);
    onPress(button, () => this.wire.now(`/fixture/${this.head.name}/${word}`, now() ? 0 : 1));
    return button;
  }

  chooser(targets) {
    const select = el("select", { "aria-label": `${this.head.name} follows` }, el("option", { value: "", disabled: true }, "nobody"), ...targets.map((name) => el("option", { value: name }, name)));
    select.addEventListener("change", () => {
      this.askedAt = performance.now();
      this.wire.now(`/fixture/${this.head.name}/follow`, select.value);
    });
    return select;
  }

  choose(on) {
    this.chosen = on;
    mark(this.pick, "aria-pressed", on);
    write(this.pick, on ? "chosen" : "choose");
    mark(this.pick, "aria-label", `${on ? "chosen" : "choose"} ${this.head.name}`);
  }

  showChoice(on) {
    show(this.pick, on);
    for (const other of [this.follows, this.deskButton, this.holdButton, this.outButton]) if (other) show(other, !on);
  }

  write(head) {
    this.lit = head.level > LIT;
    this.out = head.out;
    this.held = head.held;
    this.target = head.target;
    mark(this.state, "data-shape", shapeOf(head.state));
    write(this.word, wordOf(head.state));
    const percent = Math.round(head.level * 100);
    write(this.percent, `${percent} %`);
    if (this.shown !== percent) {
      this.shown = percent;
      this.fill.style.transform = `scaleX(${percent / 100})`;
    }
    mark(this.element, "data-lit", this.lit);
    mark(this.outButton, "aria-pressed", head.out);
    mark(this.holdButton, "aria-pressed", head.held);
    this.desks = head.desk;
    if (this.deskButton) mark(this.deskButton, "aria-pressed", head.desk);
    if (this.follows?.value === head.target) this.askedAt = -Infinity;
    else if (this.follows && performance.now() - this.askedAt > ASKED_MS) this.follows.value = head.target;
  }
}

// Never shortened: it goes on in a second line, cut behind a dash; its last piece, by which heads differ, stands out.
function nameOf(name) {
  const parts = pieces(name);
  const last = parts.pop();
  const whole = el("span", { class: "name" });
  for (const part of parts) whole.append(part, el("wbr"));
  whole.append(el("b", {}, last));
  return whole;
}
