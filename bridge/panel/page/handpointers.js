// Fingers, pens and the mouse on a picture of the stage (from above or from the seat), made into a hand on the target.
//
// The first one steers. In the dark the target jumps under it; where a beam gives light the target is dragged by the way
// that the pointer goes, in pixels of the picture, so that a touch never throws the light. A second finger that comes while
// the first drags makes everything fine; two that come together, or the right button, move and zoom the picture and steer
// nothing. A palm is nobody, and a pen sends fingers away.
//
// `view`: {canvas, revision, pixel(x, y) -> [px, py] or null, floor(px, py) -> [x, y] or null,
// zoomAt(factor, px, py)?, move(dx, dy)?, onTap?}, pixels of the canvas as CSS counts them.

const PALM_PX = 70;
const TOGETHER_MS = 250; // a second finger within this time, before the first has moved, zooms
const MOVED_PX = 8;
const WAIT_MS = 70; // so long a finger in the dark waits for a second one before the target jumps

export class Pointers {
  constructor(view, hand, app) {
    Object.assign(this, { view, hand, app, steer: null, pinch: null, pan: null, ignored: new Set(), down: new Map() });
    const { canvas } = view;
    canvas.addEventListener("pointerdown", (event) => this.press(event));
    const moves = (event) => this.moves(event);
    if ("onpointerrawupdate" in canvas) canvas.addEventListener("pointerrawupdate", moves); // not only once a picture
    canvas.addEventListener("pointermove", moves);
    for (const name of ["pointerup", "pointercancel", "lostpointercapture"]) {
      canvas.addEventListener(name, (event) => this.lift(event));
    }
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    canvas.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
  }

  at(event) {
    const box = this.view.canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  press(event) {
    const at = this.at(event);
    const { pointerId: id, pointerType: type } = event;
    try {
      this.view.canvas.setPointerCapture(id);
    } catch {
      return; // it is gone already
    }
    this.down.set(id, at);
    if (type === "mouse" && event.button !== 0) this.pan = this.view.move ? { id } : null;
    else if (this.view.onTap) this.tapped(id, at);
    else if (this.palm(event)) this.ignored.add(id);
    else if (!this.steer && !this.pinch && this.down.size - this.ignored.size === 1) this.begin(id, type, at);
    else this.another(id, type, at);
  }

  tapped(id, at) {
    const { onTap } = this.view;
    this.view.onTap = null;
    this.ignored.add(id);
    onTap(...at);
  }

  // A palm, or a finger while a pen is on the glass.
  palm(event) {
    if (event.pointerType !== "touch") return false;
    return Math.max(event.width, event.height) > PALM_PX || this.steer?.type === "pen";
  }

  begin(id, type, [x, y]) {
    this.steer = { id, type, x, y, startX: x, startY: y, at: performance.now(), began: false, moved: false };
    if (type === "touch" && this.hand.jumps && this.view.zoomAt) {
      this.steer.wait = setTimeout(() => this.start(), WAIT_MS);
    } else this.start();
  }

  // The steering one takes hold: `virtual` is the pixel at which it would be if it were on the target itself.
  start() {
    const { steer, hand, view } = this;
    if (!steer || steer.began) return;
    clearTimeout(steer.wait);
    steer.began = true;
    const jump = hand.jumps ? view.floor(steer.x, steer.y) : null;
    if (!hand.grip()) return;
    steer.holds = true;
    const place = jump ?? hand.from();
    steer.virtual = jump ? [steer.x, steer.y] : view.pixel(...place);
    steer.revision = view.revision;
    if (steer.virtual) hand.place(...place);
    else this.app.say("The target is not in this picture. Steer it from above.", "warning");
  }

  another(id, type, at) {
    const { steer } = this;
    this.ignored.add(id);
    if (!steer) return;
    if (type === "pen" && steer.type === "touch") {
      this.end();
      this.ignored.delete(id);
      this.begin(id, type, at);
      return;
    }
    const together = !steer.moved && performance.now() - steer.at < TOGETHER_MS && type === "touch" && steer.type === "touch";
    if (together && this.view.zoomAt) this.pinchWith(id, at);
    else if (type === "touch") {
      this.fineBy = id;
      this.hand.fine = true;
    }
  }

  pinchWith(id, at) {
    const { id: first, x, y } = this.steer;
    this.end();
    this.pinch = { ids: [first, id], points: new Map([[first, [x, y]], [id, at]]) };
    this.ignored.add(first);
  }

  moves(event) {
    const { pointerId: id } = event;
    const last = this.down.get(id);
    if (!last) return;
    const at = this.at(event);
    const [dx, dy] = [at[0] - last[0], at[1] - last[1]];
    if (!dx && !dy) return;
    this.down.set(id, at);
    if (this.pan?.id === id) this.view.move(dx, dy);
    else if (this.pinch?.ids.includes(id)) this.spread(id, at);
    else if (this.steer?.id === id) this.drag(at, dx, dy);
  }

  drag([x, y], dx, dy) {
    const { steer, hand, view } = this;
    Object.assign(steer, { x, y });
    steer.moved ||= Math.hypot(x - steer.startX, y - steer.startY) > MOVED_PX;
    if (!steer.began) {
      if (steer.moved) this.start();
      return;
    }
    if (!steer.holds || !hand.gripped || !steer.virtual) return; // it was taken from us: a new touch is needed
    if (steer.revision !== view.revision) {
      steer.revision = view.revision;
      steer.virtual = view.pixel(...hand.wanted) ?? steer.virtual;
    }
    steer.virtual = [steer.virtual[0] + dx * hand.factor, steer.virtual[1] + dy * hand.factor];
    const floor = view.floor(...steer.virtual);
    if (floor) hand.place(...floor);
  }

  // Two fingers: what lies between them stays between them.
  spread(id, at) {
    const { ids, points } = this.pinch;
    const before = ids.map((each) => points.get(each));
    points.set(id, at);
    const after = ids.map((each) => points.get(each));
    const wide = ([a, b]) => Math.max(20, Math.hypot(a[0] - b[0], a[1] - b[1]));
    const mid = ([a, b]) => [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
    const [from, to] = [mid(before), mid(after)];
    this.view.move(to[0] - from[0], to[1] - from[1]);
    this.view.zoomAt(wide(after) / wide(before), ...to);
  }

  lift(event) {
    const { pointerId: id } = event;
    if (!this.down.delete(id)) return;
    this.ignored.delete(id);
    if (this.pan?.id === id) this.pan = null;
    if (this.fineBy === id) this.coarse();
    if (this.steer?.id === id) {
      if (event.type === "pointerup") this.start(); // a tap that was shorter than the wait
      this.end();
    }
    if (this.pinch?.ids.includes(id)) this.pinch = null;
    // fingers that are still down steer nothing until all are up
    for (const other of this.down.keys()) this.ignored.add(other);
  }

  coarse() {
    this.fineBy = null;
    this.hand.fine = false;
  }

  end() {
    clearTimeout(this.steer?.wait);
    this.steer = null;
    if (this.fineBy !== null && this.fineBy !== undefined) this.coarse();
    this.hand.rest();
  }

  wheel(event) {
    if (!this.view.zoomAt) return;
    event.preventDefault();
    const lines = event.deltaMode === 1 ? 16 : 1;
    this.view.zoomAt(Math.exp(-event.deltaY * lines * 0.0015), ...this.at(event));
  }
}
