// What the controls send: at once, or the newest at most 60 times a second. A message that could not leave is said.

const LEAST_MS = 1000 / 60;
const SAY_AGAIN_MS = 3000;

export class Wire {
  constructor(app) {
    this.app = app;
    this.last = new Map(); // address -> when it was sent
    this.waiting = new Map(); // address -> {args, timer}: sent when it is time
    this.saidAt = -Infinity;
  }

  now(address, ...args) {
    clearTimeout(this.waiting.get(address)?.timer);
    this.waiting.delete(address);
    this.last.set(address, performance.now());
    const left = this.app.link.osc(address, ...args);
    if (!left && performance.now() - this.saidAt > SAY_AGAIN_MS) {
      this.saidAt = performance.now();
      this.app.say("Not sent: the line to the panel is cut. It comes back by itself; then press again.", "error");
    }
    return left;
  }

  // Of many values one after another: the first at once, then the newest of each sixtieth of a second, the last for certain.
  soon(address, ...args) {
    const due = (this.last.get(address) ?? -Infinity) + LEAST_MS - performance.now();
    if (due <= 0) {
      this.now(address, ...args);
      return;
    }
    const planned = this.waiting.get(address);
    if (planned) planned.args = args;
    else this.waiting.set(address, { args, timer: setTimeout(() => this.now(address, ...this.waiting.get(address).args), due) });
  }
}
