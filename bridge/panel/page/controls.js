// What the other hand does, beside the stage: light, size and height of the target, heads, areas, keys and pad.

import { actions, Bindings } from "./bindings.js";
import { Dial } from "./controlsdial.js";
import { Light } from "./controlslight.js";
import { Places } from "./controlsplaces.js";
import { el, mark, show } from "./dom.js";
import { practiceList } from "./practice.js";
import { HeadList } from "./headlist.js";
import { Keys } from "./keys.js";
import { KeysDialog } from "./keysdialog.js";
import { Pad } from "./pad.js";
import { onHold, onPress } from "./press.js";
import { Steering } from "./steering.js";
import { Wire } from "./wire.js";

const TAKE_MS = 4000;
const metres = (value) => `${value.toFixed(2)} m`;

export function mountControls(root, app) {
  app.controls = new Controls(root, app);
}

class Controls {
  constructor(root, app) {
    this.app = app;
    this.wire = new Wire(app);
    this.light = new Light(app, this.wire);
    this.size = new Dial(app, this.wire, { label: "Spot size", word: "size", min: 0.3, max: 6, step: 0.05, words: metres, names: "sizes" });
    this.height = new Dial(app, this.wire, { label: "Height", word: "height", min: 0, max: 3, step: 0.05, words: metres, names: "heights" });
    this.heads = new HeadList(app, this.wire);
    this.places = new Places(app, this.wire);
    this.steering = new Steering(app);
    this.bindings = new Bindings(app.settings, actions(app, this));
    this.keys = new Keys(app, this.bindings);
    this.pad = new Pad(app, this);
    this.dialog = new KeysDialog(app, this);
    this.build(root);
    app.store.on("scene", () => { this.named = ""; });
    app.hand.onChange.push(() => this.turned());
    app.store.on("frame", (frame) => this.write(frame));
  }

  build(root) {
    this.allHeld = onPress(el("button", { type: "button", class: "hold-all", "aria-pressed": "false" }, "Hold all"), () => this.holdAll());
    const keys = onPress(el("button", { type: "button" }, "Keys and pad"), () => this.dialog.open());
    const lists = [["Heads", this.heads.root], ["Stage", this.places.root], ["Practice", practiceList(this.app)]];
    this.tabs = lists.map(([name], number) => onPress(el("button", { type: "button", "aria-pressed": String(!number) }, name), () => this.turnTo(number)));
    this.lists = lists.map(([, list]) => list);
    this.turnTo(0);
    this.app.store.on("scene", (scene) => show(this.tabs[2], scene.practice));
    show(this.tabs[2], false);
    this.fine = onHold(el("button", { type: "button", class: "fine", "aria-pressed": "false" }, el("span", { class: "label" }, "Fine"), el("span", { class: "small" }, "while held")), (held) => this.holdFine(held));
    this.light.pair.append(this.fine);
    root.append(
      el("div", { class: "most-used" }, ...this.light.parts),
      el("div", { class: "shape-of-light" }, this.size.row, this.height.row),
      el("div", { class: "bar-of-lists" }, el("div", { class: "choice", role: "group", "aria-label": "List" }, ...this.tabs), this.allHeld, keys),
      el("div", { class: "lists" }, ...this.lists),
    );
  }

  holdFine(held) {
    mark(this.fine, "aria-pressed", held);
    this.steering.fine(held);
  }

  turnTo(number) {
    this.tabs.forEach((tab, at) => mark(tab, "aria-pressed", at === number));
    this.lists.forEach((list, at) => show(list, at === number));
  }

  write(frame) {
    const { app } = this;
    const { scene } = app.store;
    const target = app.store.target(app.hand.target);
    if (!target) return;
    if (this.named !== target.name) {
      this.named = target.name;
      const told = scene.targets.find(({ name }) => name === target.name);
      for (const dial of [this.light.level, this.size, this.height]) {
        dial.touchedAt = -Infinity;
        dial.rename(told);
      }
    }
    this.light.write(target, frame);
    this.size.follow(target.size);
    this.height.follow(target.height);
    mark(this.allHeld, "aria-pressed", this.held);
    mark(this.allHeld, "data-shape", this.held ? "square" : "none");
  }

  // Another target: what steered the one before lets go, so that nothing moves that nobody looks at yet.
  turned() {
    const { target } = this.app.hand;
    if (target === this.steered) return;
    this.steered = target;
    this.keys.releaseAll();
    this.pad.rest();
  }

  // Taken from another's hand on purpose, by a second press.
  take() {
    const { hand } = this.app;
    const now = performance.now();
    if (!hand.other) this.app.say(`Nobody else steers ${hand.target}: it is yours as soon as you move it.`);
    else if (now - (this.takeAskedAt ?? -Infinity) < TAKE_MS) hand.take();
    else {
      this.takeAskedAt = now;
      this.app.say(`${hand.otherSteers}. Press again to take it.`, "warning");
    }
  }

  get crew() {
    return this.app.store.crew(this.app.hand.target).filter((head) => !head.out);
  }

  get held() {
    const { crew } = this;
    return crew.length > 0 && crew.every((head) => head.held);
  }

  // All heads of the target stay where they are, or all follow again.
  holdAll() {
    const on = !this.held;
    const { crew } = this;
    if (!crew.length) this.app.say("No head follows this target: there is none to hold.");
    for (const head of crew) if (head.held !== on) this.wire.now(`/fixture/${head.name}/hold`, on ? 1 : 0);
  }

  nextTarget() {
    const names = this.app.store.scene?.targets.map(({ name }) => name) ?? [];
    if (names.length < 2) return this.app.say("This show has one target.");
    const at = names.indexOf(this.app.hand.target);
    return this.app.hand.choose(names[(at + 1) % names.length]);
  }
}
