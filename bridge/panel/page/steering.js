// Arrow keys, pad cross and stick together: one velocity on the stage, in metres per second, as the one who steers sees it.

const TICK_MS = 1000 / 60;
const WAYS = { left: [-1, 0], right: [1, 0], up: [0, 1], down: [0, -1] };

// Speed of the keys after dt seconds: it grows by the acceleration to the top, and ends at once with the last key.
export function keySpeed(speed, held, { top, acceleration }, dt) {
  if (!held) return 0;
  return Math.min(top, speed + acceleration * dt);
}

// A direction as seen (right, away) as one on the stage (x, y), for somebody who looks along `facing` (x, y).
export function asSeen([right, away], [fx, fy]) {
  const length = Math.hypot(fx, fy) || 1;
  const [ux, uy] = [fx / length, fy / length];
  return [right * uy + away * ux, -right * ux + away * uy];
}

export class Steering {
  constructor(app) {
    Object.assign(this, { app, held: new Set(), speed: 0, stick: [0, 0], sent: [0, 0], fineHeld: false, timer: null, lastAt: 0 });
    window.addEventListener("blur", () => this.stop());
    document.addEventListener("visibilitychange", () => document.hidden && this.stop());
    app.onTab.push((name) => name !== "follow" && this.stop());
  }

  get top() {
    return this.app.settings.get("keys.speed", 2);
  }

  get acceleration() {
    return this.app.settings.get("keys.acceleration", 6);
  }

  hold(way, pressed) {
    if (pressed) this.held.add(way);
    else this.held.delete(way);
    this.run();
  }

  fine(pressed) {
    this.fineHeld = pressed;
    this.app.hand.fine = pressed; // it moves by less, whatever moves it
  }

  // From a pad: m/s to the right and away, as seen.
  lean(velocity) {
    this.stick = velocity;
    if (this.timer === null) this.push();
  }

  // The direction in which the one who steers looks, on the stage.
  get facing() {
    const from = this.app.settings.get("sees", "house");
    const { scene } = this.app.store;
    if (from === "upstage") return [0, -1];
    if (from !== "seat" || !scene?.seat) return [0, 1];
    const { corners } = scene.polygon;
    const [x, y] = [0, 1].map((axis) => corners.reduce((sum, corner) => sum + corner[axis], 0) / corners.length);
    return [x - scene.seat[0], y - scene.seat[1]];
  }

  run() {
    if (!this.held.size) {
      clearInterval(this.timer);
      this.timer = null;
      this.speed = 0;
      this.push();
    } else if (this.timer === null) {
      this.lastAt = performance.now() - TICK_MS;
      this.timer = setInterval(() => this.tick(), TICK_MS);
      this.tick();
    }
  }

  tick() {
    const now = performance.now();
    this.speed = keySpeed(this.speed, this.held.size > 0, this, (now - this.lastAt) / 1000);
    this.lastAt = now;
    this.push();
  }

  push() {
    let [right, away] = [0, 0];
    for (const way of this.held) [right, away] = [right + WAYS[way][0], away + WAYS[way][1]];
    const length = Math.hypot(right, away) || 1;
    const seen = [(right / length) * this.speed + this.stick[0], (away / length) * this.speed + this.stick[1]];
    const velocity = asSeen(seen, this.facing).map((value) => Number(value.toFixed(4)) + 0);
    const moves = velocity.some(Boolean);
    if (velocity[0] === this.sent[0] && velocity[1] === this.sent[1] && this.app.hand.pushed === moves) return;
    this.sent = velocity;
    this.app.hand.push(...velocity);
  }

  // Whatever was held: over.
  stop() {
    this.held.clear();
    this.stick = [0, 0];
    if (this.fineHeld) this.fine(false);
    this.run();
  }
}
