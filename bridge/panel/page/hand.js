// The hand on the target: where it wants the performer to be, told to the bridge 60 times a second.
//
// `active`: a finger holds it or a stick pushes it, positions go out all the time. `holding`: this page steers the target,
// and while nothing moves it says twice a second that it is there. `release()` ends both. After a movement has ended positions
// go on for a moment: they confirm a far jump, and show the bridge a stop, which would lead the light on otherwise.

const TURN_MS = 1000 / 60;
const MOST_PER_S = 120;
const BURST = 3; // so many may follow each other at once
const ALIVE_MS = 500;
const BEYOND_M = 20;
const FINE = 0.2;
const OWN_MS = 500; // so long the place last sent is newer than the one that the bridge tells
const TELL_ON_MS = 200;
const TAKING_MS = 800; // so long after `take` the pictures may still tell of the hand before
const UNLIT = 0.003;

const clamp = (value, low, high) => Math.min(high, Math.max(low, value));
const millimetres = (value) => Math.round(value * 1000) / 1000;

export class Hand {
  constructor(app) {
    Object.assign(this, { app, target: "", wanted: null, fine: false, gripped: false, holding: false, onChange: [], sent: 0 });
    Object.assign(this, { speed: [0, 0], sentAt: -Infinity, aliveAt: -Infinity, takenAt: -Infinity, tellUntil: -Infinity, tokens: BURST, refusedBy: "" });
    app.store.on("scene", (scene) => this.scene(scene));
    app.store.on("frame", () => this.frame());
    app.store.on("me", (me) => this.named(me));
    app.store.on("link", (open) => { if (!open) this.release(); });
    document.addEventListener("visibilitychange", () => { if (document.hidden) this.release(); });
    setInterval(() => this.alive(), 100);
  }

  get active() {
    return this.gripped || this.pushed;
  }

  // Whether positions go out: while it is active, and a moment longer.
  get telling() {
    return this.active || (this.holding && performance.now() < this.tellUntil);
  }

  get pushed() {
    return this.speed[0] !== 0 || this.speed[1] !== 0;
  }

  get relative() {
    return Boolean(this.app.settings.get("hand.relative", false));
  }

  set relative(yes) {
    this.app.settings.set("hand.relative", Boolean(yes));
    this.tell();
  }

  get factor() {
    return this.fine ? FINE : 1;
  }

  // Whose hand is on the target, if it is another's; "" otherwise.
  get other() {
    const who = this.app.store.hand(this.target);
    return who === "me" || performance.now() - this.takenAt < TAKING_MS ? "" : who;
  }

  // Who else steers the target, as a sentence.
  get otherSteers() {
    const input = this.app.store.tracker(this.target);
    return input ? `${input} tracks ${this.target}` : `${this.other} steers ${this.target}`;
  }

  get mine() {
    return this.other === "";
  }

  // Whether a touch jumps: nothing that could be seen is moved by it.
  get jumps() {
    return !this.relative && !this.lit;
  }

  // Whether a head of the crew gives light. While the crew is not known, any head's light counts.
  get lit() {
    const { store } = this.app;
    if (!store.frame) return true;
    return store.crew(this.target).length ? store.lit(this.target) : store.frame.heads.some((head) => head.level > UNLIT);
  }

  choose(name) {
    if (name === this.target || !this.app.store.scene?.targets.some((target) => target.name === name)) return;
    this.release();
    Object.assign(this, { target: name, wanted: null, sentAt: -Infinity, takenAt: -Infinity, refusedBy: "" });
    this.app.settings.write(sessionStorage, "target", name);
    this.tell();
  }

  // The place to start from: where the bridge says that the target is, or what was sent since.
  from() {
    if (this.wanted && performance.now() - this.sentAt < OWN_MS) return this.wanted;
    const told = this.app.store.target(this.target);
    return told && told.age >= 0 ? [told.x, told.y] : middle(this.app.store.scene.polygon.corners);
  }

  // The place wanted, in metres; sent at once. False where another's hand is on the target.
  place(x, y) {
    if (!this.may()) return false;
    this.wanted = this.inBounds(x, y);
    this.hold();
    this.send();
    this.tellOn();
    return true;
  }

  // A finger, pen or mouse holds the target from now on, until `rest`. False where another's hand is on it.
  grip() {
    if (!this.may()) return false;
    this.gripped = true;
    this.run();
    this.tell();
    return true;
  }

  rest() {
    if (!this.gripped) return;
    this.gripped = false;
    this.tellOn();
    this.tell();
  }

  tellOn() {
    this.tellUntil = performance.now() + TELL_ON_MS;
    this.run();
  }

  // A velocity on the stage in m/s, held until changed. (0, 0) ends it.
  push(vx, vy) {
    const moves = vx !== 0 || vy !== 0;
    if (moves && !this.may()) return false;
    const began = moves && !this.pushed;
    if (!moves && this.pushed) this.tellOn();
    this.speed = moves ? [vx, vy] : [0, 0];
    if (!began) return true;
    this.wanted = this.inBounds(...this.from());
    this.turned = performance.now();
    this.hold();
    this.run();
    this.tell();
    return true;
  }

  // Let go of the target: it stays where it is, and is free for another hand once its input is lost.
  release() {
    const was = this.active || this.holding;
    Object.assign(this, { gripped: false, holding: false, speed: [0, 0], tellUntil: -Infinity });
    if (was) this.tell();
  }

  // Take the target from another's hand. Asking the person is up to the caller.
  take() {
    this.takenAt = performance.now();
    this.refusedBy = "";
    const went = this.app.link.osc(`/target/${this.target}/take`);
    if (went) this.hold();
    return went;
  }

  hold() {
    if (this.holding) return;
    this.holding = true;
    this.tell();
  }

  tell() {
    for (const run of this.onChange) run(this);
  }

  // Whether this page may steer; says once who else does.
  may() {
    if (!this.target || !this.app.link.open) return false;
    const { other } = this;
    if (other && other !== this.refusedBy) this.app.say(`${this.otherSteers}. Press Take to steer it from here.`, "warning");
    this.refusedBy = other;
    return !other;
  }

  inBounds(x, y) {
    const { corners } = this.app.store.scene.polygon;
    const all = [...corners, ...this.app.store.scene.areas.flatMap((area) => area.corners)];
    const [xs, ys] = [all.map((p) => p[0]), all.map((p) => p[1])];
    return [
      clamp(x, Math.min(...xs) - BEYOND_M, Math.max(...xs) + BEYOND_M),
      clamp(y, Math.min(...ys) - BEYOND_M, Math.max(...ys) + BEYOND_M),
    ];
  }

  // The turn of the timer while the hand is active. Events of pointers do not wait for it.
  run() {
    if (this.timer) return;
    const turn = () => {
      this.timer = this.telling ? setTimeout(turn, Math.max(1, TURN_MS - (performance.now() - this.sentAt) % TURN_MS)) : 0;
      if (!this.timer) this.aliveAt = -Infinity; // it stands: said next
      else if (this.may()) this.step();
      else this.release();
    };
    this.timer = setTimeout(turn, TURN_MS);
  }

  step() {
    const now = performance.now();
    if (this.pushed && !this.gripped) {
      const seconds = Math.min(0.1, (now - this.turned) / 1000) * this.factor;
      this.wanted = this.inBounds(this.wanted[0] + this.speed[0] * seconds, this.wanted[1] + this.speed[1] * seconds);
    }
    this.turned = now;
    if (this.wanted && this.holding && now - this.sentAt > TURN_MS * 0.8) this.send();
  }

  // At once, but no more than MOST_PER_S: what is left out is sent by the next turn.
  send() {
    const now = performance.now();
    this.tokens = Math.min(BURST, this.tokens + ((now - (this.refilled ?? now)) * MOST_PER_S) / 1000);
    this.refilled = now;
    if (this.tokens < 1) return this.later();
    this.tokens -= 1;
    this.sentAt = this.aliveAt = now;
    this.sent += 1;
    return this.app.link.osc(`/target/${this.target}/position`, ...this.wanted.map(millimetres)); // only what is told: a slow push is less than that a turn
  }

  later() {
    this.late ||= setTimeout(() => {
      this.late = 0;
      if (this.holding && this.mine) this.send();
    }, 1000 / MOST_PER_S);
    return false;
  }

  // A performer who stands still is no lost input.
  alive() {
    const now = performance.now();
    if (!this.holding || this.telling || now - this.aliveAt < ALIVE_MS - 50) return;
    this.aliveAt = now;
    this.app.link.osc(`/target/${this.target}/alive`);
  }

  scene(scene) {
    if (scene.targets.some((target) => target.name === this.target)) return;
    this.release();
    const kept = this.app.settings.read(sessionStorage, "target");
    this.target = "";
    this.choose(scene.targets.some((target) => target.name === kept) ? kept : scene.targets[0]?.name);
  }

  // Another's hand ends ours.
  frame() {
    const { other } = this;
    if (this.holding && other) {
      this.release();
      this.refusedBy = other;
      this.app.say(this.app.store.tracker(this.target) ? `${this.otherSteers} again.` : `${other} has taken ${this.target}.`, "warning");
    }
  }

  // Under another name the bridge knows this page as somebody else: go on as that one.
  named({ name }) {
    if (this.name && name !== this.name && this.holding) this.take();
    this.name = name;
  }
}

function middle(corners) {
  return [0, 1].map((i) => corners.reduce((sum, corner) => sum + corner[i], 0) / corners.length);
}
