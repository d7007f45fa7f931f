// The stage half of the screen Follow: the picture from above or from the seat, its buttons, and the pointers on it.

import { el, mark, show, write } from "./dom.js";
import { Pointers } from "./handpointers.js";
import { Labels } from "./labels.js";
import { Operators } from "./operators.js";
import { Plan } from "./plan.js";
import { drawOutside } from "./planedge.js";
import { floorsNow } from "./planfloor.js";
import { drawBeams, drawHeads } from "./planlive.js";
import { drawTargets } from "./plantargets.js";
import { drawPerformer } from "./practice.js";
import { Seat } from "./seat.js";

const HOUSE_M = 22; // so much of the house is shown where a seat is chosen
const button = (label, onclick, props = {}) => el("button", { type: "button", onclick, ...props }, label);

export class FollowStage {
  constructor(root, app) {
    this.app = app;
    const bar = el("div", { class: "bar" });
    this.above = el("div", { class: "view" });
    this.seen = el("div", { class: "view", hidden: true });
    this.whole = button("Whole stage", () => this.plan.fit(), { class: "whole", hidden: true });
    this.rule = el("p", { class: "rule", id: "stage-rule" });
    const views = el("div", { class: "views" }, this.above, this.seen, this.rule, this.whole);
    root.append(bar, views);
    app.plan = this.plan = new Plan(this.above, app.store);
    app.seat = this.seat = new Seat(this.seen, app.store, app.settings);
    this.operators = new Operators(bar, app);
    root.append(this.buttons());
    for (const view of [this.plan, this.seat]) {
      view.layers.push((context, _, frame) => this.drawLive(context, view, frame));
      view.canvas.setAttribute("aria-describedby", "stage-rule");
      new Pointers(view, app.hand, app);
    }
    this.plan.onWhole = (whole) => show(this.whole, !whole);
    app.hand.onChange.push(() => this.write());
    app.store.on("frame", () => this.write());
    document.addEventListener("keydown", (event) => { if (event.key === "Escape") this.pick(false); });
    this.choose(app.settings.get("follow.view", "above"));
  }

  buttons() {
    this.fromAbove = button("From above", () => this.choose("above"), { "aria-pressed": "true" });
    this.fromSeat = button("From my seat", () => this.choose("seat"), { "aria-pressed": "false" });
    this.farther = button("−", () => this.plan.zoomAt(0.8), { "aria-label": "Farther", class: "sign" });
    this.nearer = button("+", () => this.plan.zoomAt(1.25), { "aria-label": "Nearer", class: "sign" });
    this.sit = button("Sit here", () => this.pick(!this.picking), { "aria-pressed": "false" });
    this.height = el("input", { type: "number", min: 0.5, max: 30, step: 0.1, "aria-label": "Eye height in metres over the stage" });
    this.heightRow = el("label", { class: "height", hidden: true }, "Eye", this.height, "m");
    this.shown = button("As in the show", () => { this.seat.sit(null); this.pick(false); this.choose("seat"); }, { hidden: true });
    return el("div", { class: "bar", role: "group", "aria-label": "Picture" },
      this.fromAbove, this.fromSeat, this.farther, this.nearer, this.sit, this.heightRow, this.shown);
  }

  choose(name) {
    this.view = name === "seat" ? "seat" : "above";
    if (this.view === "seat") this.pick(false);
    this.app.settings.set("follow.view", this.view);
    show(this.above, this.view === "above");
    show(this.seen, this.view === "seat");
    this.plan.dirty = this.seat.dirty = true;
    this.write();
  }

  // Choosing the seat: the house is shown too, and the next tap on the plan is the place.
  pick(on) {
    if (Boolean(on) === Boolean(this.picking)) return;
    this.picking = on;
    const { plan, seat } = this;
    if (on) {
      this.choose("above");
      this.height.value = seat.eye[2].toFixed(1);
      const [xs, ys] = [0, 1].map((i) => this.app.store.scene.polygon.corners.map((corner) => corner[i]));
      plan.extra = [[Math.min(...xs), Math.min(...ys) - HOUSE_M], [Math.max(...xs), Math.min(...ys)]];
      plan.onTap = (px, py) => {
        const [x, y] = plan.toStage(px, py).map((value) => Math.round(value * 100) / 100);
        const z = Number(this.height.value);
        this.seat.sit([x, y, z >= 0.5 && z <= 30 ? z : seat.eye[2]]);
        this.choose("seat");
      };
    } else {
      plan.extra = [];
      plan.onTap = null;
    }
    plan.fit();
    this.write();
  }

  write() {
    const { app, picking, view } = this;
    mark(this.fromAbove, "aria-pressed", view === "above");
    mark(this.fromSeat, "aria-pressed", view === "seat");
    mark(this.sit, "aria-pressed", Boolean(picking));
    for (const element of [this.farther, this.nearer]) show(element, view === "above" && !picking);
    show(this.whole, view === "above" && !picking && !this.plan.whole);
    for (const element of [this.fromAbove, this.fromSeat]) show(element, !picking);
    show(this.sit, view === "seat" || picking);
    show(this.heightRow, picking);
    show(this.shown, picking && app.store.scene?.seat && app.settings.get("seat", null));
    write(this.rule, this.ruleNow());
  }

  // What a touch does now, in words.
  ruleNow() {
    const { hand } = this.app;
    if (this.picking) return "Tap where you sit";
    if (hand.other) return hand.otherSteers;
    return hand.jumps ? "Dark: a touch puts the target there" : "A touch drags the target, it does not jump";
  }

  drawLive(context, view, frame) {
    if (!frame) return;
    const { store, hand } = this.app;
    const { scene } = store;
    const floors = floorsNow(scene, frame);
    const rule = [0, 0, this.rule.offsetLeft + this.rule.offsetWidth, this.rule.offsetTop + this.rule.offsetHeight];
    const labels = new Labels(context, view.width, view.height, [...view.written, rule]);
    drawBeams(context, view, scene, frame, hand.target);
    drawTargets(context, view, { scene, frame, store, floors, labels, chosen: hand.target });
    drawPerformer(context, view, frame, labels);
    drawHeads(context, view, scene, frame, labels, hand.target);
    drawOutside(context, view, scene, frame, labels);
    if (view === this.plan) this.drawSeat(context, labels);
  }

  drawSeat(context, labels) {
    const [x, y] = this.plan.project(this.seat.eye);
    context.strokeStyle = context.fillStyle = "#b4b1a2";
    context.lineWidth = 2;
    context.beginPath();
    context.ellipse(x, y, 11, 6, 0, 0, 2 * Math.PI);
    context.stroke();
    context.beginPath();
    context.arc(x, y, 3, 0, 2 * Math.PI);
    context.fill();
    labels.write("my seat", x, y, { colour: "#b4b1a2", size: 12 });
  }
}
