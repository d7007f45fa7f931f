// The steps of a sighting, always in the same place: Near, Record, Next; and beside them light, find, forget, done.

import { el, mark, show, slider, write } from "./dom.js";
import { big, yes } from "./focusyes.js";

const WORKING_LIGHT = 0.2; // what the bridge allows while a head is in hand
const UNANSWERED_MS = 4000;

// The bar: Near, Record, Next.
export class Bar {
  constructor(app, session) {
    Object.assign(this, { app, session });
    this.near = big("Near", () => session.near());
    this.record = big("Record", () => session.record(), { class: "f-big f-main" });
    this.next = big("Next", () => session.next());
    this.told = el("p", { class: "f-told", role: "status" });
    session.tell = (text, how) => this.say(text, how);
    this.fit = el("p", { class: "f-fit", role: "status" });
    this.element = el("div", { class: "f-bar" }, this.told, this.fit, el("div", { class: "f-row f-steps" }, this.near, this.record, this.next));
    app.store.on("news", (news) => this.heard(news));
    session.on((what) => {
      if (what === "awaited") this.say(`${session.head} on ${session.mark}: being written ...`, "");
      if (what === "fit") this.writeFit();
    });
    setInterval(() => this.late(), 500);
  }

  heard(news) {
    if (news.old) return;
    if (news.what === "sighting") {
      this.last = { head: news.fixture, mark: news.mark };
      this.say(`${news.fixture} on ${news.mark} is written: pan ${news.pan.toFixed(2)}°, tilt ${news.tilt.toFixed(2)}°.`, "good");
    }
    if (news.what === "forgotten") this.say(`${news.fixture} on ${news.mark} is forgotten.`, "good");
    if (news.what === "notice" && news.text.startsWith("not written")) this.say(news.text, "bad");
    if (news.what === "refused" && news.address.startsWith("/sight/")) {
      this.session.awaited = null;
      this.say(news.text, "bad");
    }
  }

  // How the sighting that was recorded last fits, once the panel has looked.
  writeFit() {
    const { last } = this;
    const fit = last && this.session.fit?.(last.head, last.mark);
    if (!fit) return;
    write(this.fit, `${last.head}: ${fit.long}`);
    if (!this.session.awaited) this.say(`${last.head}: ${fit.short}`, "good");
    this.last = null;
  }

  say(text, how) {
    write(this.told, text);
    mark(this.told, "data-how", how);
  }

  late() {
    const { awaited } = this.session;
    if (!awaited || performance.now() - awaited.at < UNANSWERED_MS) return;
    this.session.awaited = null;
    this.say(`No answer: ${awaited.head} on ${awaited.mark} may not be written. Press Record again.`, "bad");
  }
}

// The part Light: what the beam looks like while it is sighted, and what else is done to the head in hand.
export class LightPart {
  constructor(app, session) {
    Object.assign(this, { app, session, last: 0 });
    const percent = (value) => `${Math.round(100 * value)} %`;
    const send = (what) => (value) => this.send(what, value);
    this.light = slider("Light", { min: 0, max: WORKING_LIGHT, step: 0.01, words: percent, input: send("level") });
    this.zoom = slider("Zoom", { min: 0, max: 1, step: 0.005, words: percent, input: send("zoom") });
    this.focus = slider("Focus", { min: 0, max: 1, step: 0.005, words: percent, input: send("focus") });
    this.alone = el("button", { type: "button", role: "switch", class: "f-big switch", "aria-checked": "false", "aria-label": "Only this one lit", onclick: () => this.setAlone() },
      el("span", { class: "shape", "aria-hidden": "true" }), "Only this one lit");
    this.itself = el("button", { type: "button", role: "switch", class: "f-big switch", "aria-label": "Move on by itself", onclick: () => this.setItself() },
      el("span", { class: "shape", "aria-hidden": "true" }), "Move on by itself");
    this.element = el("div", { class: "f-light" },
      el("p", { class: "f-note" }, "While a head is in hand the bridge keeps its light at 20 % or less."),
      this.light.row, this.zoom.row, this.focus.row,
      el("p", { class: "f-note", hidden: true }, "This head has neither zoom nor focus."),
      el("div", { class: "f-grid" },
        big("Find", () => app.link.osc(`/fixture/${session.head}/find`, 1)),
        big("Forget", () => this.forget()),
        big("Done", () => session.giveBack(session.head)),
        big("Done, all", () => this.doneAll()),
        big("Near, all chosen", () => this.nearAll()),
        this.itself, this.alone),
      el("p", { class: "f-note" }, "Find: the head breathes for 10 s. Forget: drops its sighting of this mark. Done: the head follows again. Only this one lit: every other head is dark; they come back when it is switched off and when the session ends."));
    this.none = this.element.querySelectorAll(".f-note")[1];
    app.store.on("frame", () => this.write());
    session.on(() => this.write());
  }

  send(what, value) {
    const now = performance.now();
    clearTimeout(this.later);
    if (now - this.last < 40) {
      this.later = setTimeout(() => this.send(what, value), 40);
      return;
    }
    this.last = now;
    this.session.osc(what, value);
  }

  async forget() {
    const { head, mark: name } = this.session;
    if (!this.session.sighted(head, name)) this.session.tell(`${head} is not sighted on ${name}.`, "bad");
    else if (await yes(`Forget the sighting of ${head} on ${name}?`, { yes: "Forget" })) this.app.link.osc(`/sight/${head}/forget`, name);
  }

  doneAll() {
    const { scene, frame } = this.app.store;
    this.session.setAlone(false);
    frame.heads.forEach((head, number) => {
      if (head.in_hand) this.session.giveBack(scene.heads[number].name);
    });
  }

  async nearAll() {
    const { heads, mark: name } = this.session;
    if (await yes(`Aim ${heads.size === 1 ? "one head" : `all ${heads.size} chosen heads`} near ${name}? They light up.`, { yes: "Aim them" })) this.session.nearAll();
  }

  async setAlone() {
    const { session } = this;
    if (session.alone) session.setAlone(false);
    else {
      const lit = this.app.store.frame.heads.filter((head) => head.level > 0.003 && !head.in_hand).length;
      if (!lit || await yes(`${lit === 1 ? "One head is" : `${lit} heads are`} lit and not in hand. Make ${lit === 1 ? "it" : "them"} dark too, until this is switched off?`, { yes: "Make dark" })) session.setAlone(true);
    }
    this.write();
  }

  setItself() {
    const { session } = this;
    session.byItself = !session.byItself;
    this.app.settings.set("focus.by-itself", session.byItself);
    this.write();
  }

  write() {
    const { session } = this;
    const [head, state] = [session.scene(), session.frame()];
    if (!head) return;
    mark(this.alone, "aria-checked", session.alone);
    mark(this.itself, "aria-checked", session.byItself);
    show(this.zoom.row, head.zoom);
    show(this.focus.row, head.focus);
    show(this.none, !head.zoom && !head.focus);
    if (state) this.light.set(state.in_hand ? state.level : 0);
    if (this.of === head.name) return;
    this.of = head.name; // the bridge does not tell zoom and focus: what they are is as it was left
    for (const one of [this.zoom, this.focus]) {
      one.row.querySelector("output").textContent = "as it is";
      one.range.value = "0.5";
    }
  }
}
