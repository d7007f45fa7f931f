// Any gamepad: sticks steer, buttons do what the bindings say. Looked at at every picture and 60 times a second besides.

import { rate, safe, shape, velocity } from "./padshape.js";

const LEAST_MS = 4;
const DOWN = 0.5;
const LEVEL_A_SECOND = 0.6;
const SIZE_A_SECOND = 0.8;
const HEIGHT_M_S = 0.8;

export class Pad {
  constructor(app, controls) {
    Object.assign(this, { app, controls, connected: null, held: new Map(), lookedAt: 0, awake: false, blurred: false, heard: [] });
    this.settings = safe(app.settings.get("pad"));
    this.raw = [0, 0];
    this.shaped = [0, 0];
    window.addEventListener("gamepaddisconnected", () => this.look(performance.now(), true));
    window.addEventListener("blur", () => this.rest((this.blurred = true)));
    window.addEventListener("focus", () => { this.blurred = false; });
    window.addEventListener("pointerdown", () => { this.blurred = false; }, true);
    const turn = (now) => {
      requestAnimationFrame(turn);
      this.look(now);
    };
    requestAnimationFrame(turn);
    setInterval(() => this.look(performance.now()), 1000 / 60);
  }

  change(key, value) {
    this.settings = safe({ ...this.settings, [key]: value });
    this.app.settings.set("pad", this.settings);
  }

  // The first pad that is there; most pages have one.
  find() {
    const pads = navigator.getGamepads?.() ?? [];
    return [...pads].find((pad) => pad?.connected && pad.axes.length >= 2) ?? null;
  }

  look(now, atOnce = false) {
    if (!atOnce && now - this.lookedAt < LEAST_MS) return;
    const dt = Math.min(0.1, Math.max(0, now - this.lookedAt) / 1000);
    this.lookedAt = now;
    const pad = this.find();
    if ((pad?.id ?? null) !== this.connected) this.plugged(pad);
    if (pad) this.read(pad, dt);
  }

  plugged(pad) {
    this.rest();
    if (pad) this.app.say(`Pad connected: ${pad.id}.`);
    else this.app.say(`Pad lost: ${this.connected}. What it moved has stopped.`, "error");
    this.connected = pad?.id ?? null;
  }

  // Nothing moves by the pad until its sticks have been let go once and its buttons are up.
  rest() {
    this.awake = false;
    for (const [, action] of this.held) if (action?.hold) action.run(false);
    this.held.clear();
    this.controls.steering.lean([0, 0]);
    this.triggerFine(false);
  }

  get idle() {
    return this.app.tab !== "follow" || this.blurred || document.hidden || document.querySelector("dialog[open]") !== null;
  }

  read(pad, dt) {
    const [steer, other] = this.settings.stick === "right" ? [2, 0] : [0, 2];
    this.raw = [pad.axes[steer] ?? 0, pad.axes[steer + 1] ?? 0];
    this.shaped = shape(...this.raw, this.settings);
    const second = [pad.axes[other] ?? 0, pad.axes[other + 1] ?? 0];
    for (const run of this.heard) run(pad);
    if (this.idle) {
      if (this.awake) this.rest();
      return;
    }
    if (!this.awake) {
      this.awake = !this.shaped.some(Boolean) && !shape(...second, this.settings).some(Boolean);
      pad.buttons.forEach((button, number) => button.value > DOWN && this.held.set(number, null)); // down before: not a press
      if (!this.awake) return;
    }
    this.controls.steering.lean(velocity(...this.raw, this.settings));
    this.buttons(pad);
    this.triggers(pad, dt);
    this.second(second, dt);
  }

  buttons(pad) {
    const triggers = this.settings.triggers !== "none";
    pad.buttons.forEach((button, number) => {
      if (triggers && (number === 6 || number === 7)) return;
      const down = button.pressed || button.value > DOWN;
      if (down === this.held.has(number)) return;
      if (!down) {
        const action = this.held.get(number);
        this.held.delete(number);
        if (action?.hold) action.run(false);
        return;
      }
      const action = this.controls.bindings.find("pad", number) ?? null;
      this.held.set(number, action);
      action?.run(true);
    });
  }

  triggers(pad, dt) {
    const { triggers } = this.settings;
    const [left, right] = [6, 7].map((number) => pad.buttons[number]?.value ?? 0);
    if (triggers === "level") {
      const by = rate(right, this.settings) - rate(left, this.settings);
      if (by) this.controls.light.level.nudge(by * LEVEL_A_SECOND * dt);
    }
    this.triggerFine(triggers === "fine" && Math.max(left, right) > DOWN);
  }

  triggerFine(on) {
    if (on === Boolean(this.fine)) return;
    this.fine = on;
    this.controls.steering.fine(on);
  }

  second([x, y], dt) {
    if (this.settings.second === "none") return;
    const { size, height } = this.controls;
    const [across, along] = [rate(x, this.settings), rate(-y, this.settings)];
    if (across) size.nudge(across * SIZE_A_SECOND * dt * size.value);
    if (along) height.nudge(along * HEIGHT_M_S * dt);
  }
}
