// The pad that moves the beam: on the floor as seen on stage, or by pan and tilt; and how a head tells where its left is.

import { el, mark, show, write } from "./dom.js";
import { big, choice, held } from "./focusyes.js";

const FLOOR_STEPS = [[0.2, "20 cm"], [0.05, "5 cm"], [0.01, "1 cm"]];
const ANGLE_STEPS = [[15, "15°"], [1, "1°"], [0.1, "0.1°"]];
const DRAG_SHARE = 1 / 16; // of a step, for a pixel
const SEND_MS = 90;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
const WAYS = [[135, "↖"], [90, "↑"], [45, "↗"], [180, "←"], [null, ""], [0, "→"], [225, "↙"], [270, "↓"], [315, "↘"]];
const WAY_WORDS = { 135: "upstage left", 90: "upstage", 45: "upstage right", 180: "to the left", 0: "to the right", 225: "downstage left", 270: "downstage", 315: "downstage right" };
const KNOWN = {
  solved: "Left is left by the pose in use.",
  sightings: "Left is left by the sightings so far.",
  shown: "Left is left by what was shown.",
  plot: "Nobody knows yet how it is turned.",
  "": "Nobody knows yet where it hangs.",
};

export class Pad {
  constructor(app, session) {
    Object.assign(this, { app, session, mode: "floor", step: 0.05, angle: 1, wanted: [0, 0], busy: false });
    this.modes = choice("What the arrows do", [["floor", "On the floor"], ["angles", "Pan and tilt"], ["show", "Where is it?"]], (mode) => this.set({ mode }));
    this.steps = choice("Step on the floor", FLOOR_STEPS, (step) => this.set({ step }));
    this.angles = choice("Step of pan and tilt", ANGLE_STEPS, (angle) => this.set({ angle }));
    this.known = el("p", { class: "f-known", role: "status" });
    this.cross = this.makeCross();
    this.numbers = this.makeNumbers();
    this.teach = this.makeTeach();
    this.element = el("div", { class: "f-pad" }, this.modes.row, this.cross, this.teach, this.known, this.numbers);
    document.addEventListener("keydown", (event) => this.key(event));
    session.on((what) => this.told(what));
    setInterval(() => this.send(), SEND_MS);
    this.set({});
  }

  set(change) {
    Object.assign(this, change);
    this.modes.set(this.mode);
    this.steps.set(this.step);
    this.angles.set(this.angle);
    show(this.cross, this.mode !== "show");
    for (const [steps, mode] of [[this.steps, "floor"], [this.angles, "angles"]]) {
      for (const button of steps.buttons.values()) show(button, this.mode === mode);
    }
    show(this.numbers, this.mode === "angles");
    show(this.teach, this.mode === "show");
    if (this.mode !== "show" && this.session.showing) this.showOnPlan(false);
    const arrow = this.mode === "angles" ? ["Pan less", "Pan more", "Tilt more", "Tilt less"] : ["Left", "Right", "Upstage", "Downstage"];
    Object.values(this.arrows).forEach((button, number) => mark(button, "aria-label", arrow[number]));
    write(this.middle, this.mode === "angles" ? `${this.angle}°` : `${Math.round(this.step * 100)} cm`);
    this.session.changed("pad");
  }

  makeCross() {
    this.arrows = {};
    for (const [name, way] of Object.entries(ARROWS)) {
      this.arrows[name] = el("button", { type: "button", class: `f-arrow f-${name.slice(5).toLowerCase()}` },
        el("span", { class: "f-tip", "aria-hidden": "true" }));
      held(this.arrows[name], () => this.move(way));
    }
    this.middle = el("span", { class: "f-middle", "aria-hidden": "true" });
    this.surface = el("div", { class: "f-surface" }, el("span", {}, "drag here"));
    this.surface.addEventListener("pointerdown", (event) => {
      this.surface.setPointerCapture(event.pointerId);
      this.from = [event.clientX, event.clientY];
    });
    this.surface.addEventListener("pointermove", (event) => this.drag(event));
    for (const name of ["pointerup", "pointercancel"]) this.surface.addEventListener(name, () => { this.from = null; });
    const corners = [this.steps, this.angles].flatMap((steps) => [...steps.buttons.values()].map((button, number) => {
      button.classList.add("f-step", `f-step-${number}`);
      return button;
    }));
    return el("div", { class: "f-moves" },
      el("div", { class: "f-cross", role: "group", "aria-label": "Move the beam" }, ...Object.values(this.arrows), this.middle, ...corners), this.surface);
  }

  makeNumbers() {
    this.pan = el("input", { type: "number", step: "0.1", "aria-label": "Pan in degrees", value: "0" });
    this.tilt = el("input", { type: "number", step: "0.1", "aria-label": "Tilt in degrees", value: "45" });
    const point = () => {
      const angles = [this.pan, this.tilt].map((input) => Number(input.value));
      if (angles.every(Number.isFinite)) this.session.osc("point", ...angles);
    };
    return el("div", { class: "f-row f-numbers" }, el("label", {}, "Pan", this.pan), el("label", {}, "Tilt", this.tilt), big("Point", point));
  }

  makeTeach() {
    this.tap = big("Show on the plan", () => this.showOnPlan(!this.session.showing), { class: "f-big f-tall", "aria-pressed": "false" });
    this.tapWords = el("p", {});
    const ways = WAYS.map(([way, sign]) => (way === null
      ? big("Try a move", () => this.session.ask("try"), { class: "f-big f-try" })
      : big(sign, () => this.went(way), { "aria-label": `It went ${WAY_WORDS[way]}` })));
    return el("div", { class: "f-teach" }, this.tapWords,
      el("div", { class: "f-moves" }, el("div", { class: "f-ways" }, ...ways), this.tap),
      el("p", { class: "f-note" }, "Show on the plan where its beam is; or try a move and say by an arrow which way the beam went."),
      big("Forget what was shown", () => this.session.ask("unlearn")));
  }

  showOnPlan(on) {
    this.session.showing = on;
    mark(this.tap, "aria-pressed", on);
    this.session.changed("showing");
  }

  // A tap on the plan while the beam is to be shown.
  async shown(at) {
    this.showOnPlan(false);
    if (await this.session.ask("shown", { at })) this.set({ mode: "floor" });
  }

  async went(way) {
    const answer = await this.session.ask("went", { way });
    if (!answer) return;
    this.session.tell("Thank you: now press Near.", "good");
    this.set({ mode: "floor" });
  }

  told(what) {
    const { head, hangs } = this.session;
    write(this.tapWords, `Where is the beam of ${head}, or which way did it go?`);
    if (what !== "hangs") return;
    write(this.known, KNOWN[hangs.by] ?? "");
    mark(this.known, "data-by", hangs.by);
    const vague = hangs.by === "" || hangs.by === "plot";
    if (this.vagueHead !== head + vague) {
      this.vagueHead = head + vague;
      if (vague || this.mode === "show") this.set({ mode: vague ? "show" : "floor" });
    }
  }

  // Moving

  move([x, y], fine = 1) {
    if (this.mode === "angles") this.session.osc("nudge", x * this.angle * fine, y * this.angle * fine);
    else this.add(x * this.step * fine, y * this.step * fine);
  }

  drag(event) {
    if (!this.from) return;
    const [dx, dy] = [event.clientX - this.from[0], this.from[1] - event.clientY];
    this.from = [event.clientX, event.clientY];
    const step = (this.mode === "angles" ? this.angle : this.step) * DRAG_SHARE;
    this.add(dx * step, dy * step);
  }

  add(dx, dy) {
    this.wanted = [this.wanted[0] + dx, this.wanted[1] + dy];
    this.send();
  }

  // One question at a time: what comes meanwhile goes with the next.
  async send() {
    const [dx, dy] = this.wanted;
    if (this.busy || (!dx && !dy)) return;
    this.busy = true;
    this.wanted = [0, 0];
    if (this.mode === "angles") this.session.osc("nudge", dx, dy);
    else await this.session.nudge(dx, dy);
    setTimeout(() => { this.busy = false; }, this.mode === "angles" ? SEND_MS : 20);
  }

  key(event) {
    const way = ARROWS[event.key];
    if (!way || this.app.tab !== "focus" || !this.element.offsetParent || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target.closest?.("input, select, [role=tablist], dialog, .edit") || this.element.closest("[inert]")) return;
    event.preventDefault();
    if (this.mode !== "show") this.move(way, event.shiftKey ? 0.2 : 1);
  }
}
