// Fingers, pen, mouse and arrow keys on the editor's plan: choose, drag, insert corners, tap places. Snaps to 5 cm; with
// Shift or a second finger, finely: a fifth of the hand's way, to a centimetre.

import { corners, inside, isArea, place, snap, surface } from "./editplace.js";
import { like } from "./editunits.js";

const REACH_PX = 24;
const SIDE_REACH_PX = 18;
const STILL_PX = 5;
const FINE = 0.2;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

export class EditHand {
  constructor(editor, plan) {
    Object.assign(this, { editor, plan, pointer: null, others: new Set(), grip: null, gestures: 0 });
    const { canvas } = plan;
    canvas.addEventListener("pointerdown", (event) => this.down(event));
    canvas.addEventListener("pointermove", (event) => this.move(event));
    for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, (event) => this.up(event));
    canvas.addEventListener("wheel", (event) => {
      event.preventDefault();
      plan.zoom(Math.exp(-event.deltaY / 500), this.pixels(event));
    }, { passive: false });
    canvas.addEventListener("keydown", (event) => this.key(event));
  }

  pixels(event) {
    const box = this.plan.canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  down(event) {
    this.plan.canvas.setPointerCapture(event.pointerId);
    if (this.pointer !== null) {
      this.others.add(event.pointerId);
      return;
    }
    const at = this.pixels(event);
    this.pointer = event.pointerId;
    this.gestures += 1;
    this.grip = { start: at, last: at, moved: false, ...(this.editor.adding ? { part: "ground" } : this.hit(at)) };
  }

  move(event) {
    if (event.pointerId !== this.pointer) return;
    const at = this.pixels(event);
    const { grip } = this;
    if (!grip.moved && Math.hypot(at[0] - grip.start[0], at[1] - grip.start[1]) < STILL_PX) return;
    if (!grip.moved) this.begin(grip);
    const delta = [at[0] - grip.last[0], at[1] - grip.last[1]];
    grip.last = at;
    if (grip.raw) this.drag(grip, delta, event.shiftKey || this.others.size > 0);
    else this.plan.pan(...delta);
  }

  up(event) {
    this.others.delete(event.pointerId);
    if (event.pointerId !== this.pointer) return;
    const { grip } = this;
    Object.assign(this, { pointer: null, grip: null });
    this.editor.draft.settle();
    if (grip.moved || event.type === "pointercancel") return;
    if (this.editor.adding) this.editor.place(this.plan.toStage(...grip.start).map((value) => snap(value, event.shiftKey)), this.closes(grip.start));
    else if (grip.part === "side") this.insert(grip);
    else if (grip.item) this.editor.choose(grip.item, grip.part === "corner" ? grip.index : null);
  }

  // A tap on the first of the corners that are being tapped ends them.
  closes(at) {
    const { adding } = this.editor;
    const [first] = adding.points;
    return Boolean(first) && adding.points.length > 2 && distance(this.plan.toPixels(...first), at) < REACH_PX;
  }

  // What lies under a pixel: handles of what is chosen first, then marks and seat, then the smallest area.
  hit(at) {
    const { draft, item } = this.editor;
    if (item && isArea(item)) {
      const points = corners(item);
      const index = nearest(points.map((point) => point && this.plan.toPixels(...point)), at, REACH_PX);
      if (index >= 0) return { item, part: "corner", index };
      if (points.every(Boolean)) {
        const side = nearest(this.plan.sides(points).map((one) => one?.pixels), at, SIDE_REACH_PX);
        if (side >= 0) return { item, part: "side", index: side };
      }
    }
    const single = draft.items.filter((one) => !isArea(one) && place(one.at));
    const point = nearest(single.map((one) => this.plan.toPixels(...place(one.at))), at, REACH_PX);
    if (point >= 0) return { item: single[point], part: "point" };
    const [x, y] = this.plan.toStage(...at);
    const under = draft.items.filter((one) => isArea(one) && corners(one).every(Boolean) && inside(corners(one), x, y));
    if (under.includes(item)) return { item, part: "inside" };
    under.sort((one, other) => surface(corners(one)) - surface(corners(other)));
    return under.length ? { item: under[0], part: "area" } : { item: null, part: "ground" };
  }

  begin(grip) {
    grip.moved = true;
    if (grip.part === "side") {
      grip.index = this.insert(grip);
      grip.part = "corner";
    }
    if (grip.part === "point" && this.editor.item !== grip.item) this.editor.choose(grip.item);
    if (grip.part === "corner") this.editor.choose(grip.item, grip.index);
    if (["point", "corner", "inside"].includes(grip.part)) {
      grip.before = grip.part === "point" ? [place(grip.item.at)] : corners(this.editor.item);
      grip.raw = [...(grip.part === "corner" ? grip.before[grip.index] : grip.before[0])];
      grip.from = [...grip.raw];
    }
  }

  insert({ item, index }) {
    const { point } = this.plan.sides(corners(item))[index];
    this.editor.insertCorner(item, index, point.map((value) => snap(value, true)), `gesture ${this.gestures}`);
    return index + 1;
  }

  drag(grip, [dx, dy], fine) {
    const share = (fine ? FINE : 1) / this.plan.view.scale;
    grip.raw = [grip.raw[0] + dx * share, grip.raw[1] - dy * share];
    const to = grip.raw.map((value) => snap(value, fine));
    this.editor.draft.change(`gesture ${this.gestures}`, (draft) => {
      const item = draft.get(grip.item.key);
      if (grip.part === "point") item.at = moved(item.at, to);
      else if (grip.part === "corner") item.corners[grip.index] = moved(item.corners[grip.index], to);
      else item.corners = item.corners.map((corner, n) => moved(corner, grip.before[n].map((value, axis) => value + to[axis] - grip.from[axis])));
    });
  }

  key(event) {
    if (event.key === "Escape" && this.editor.adding) {
      this.editor.add(null);
      event.preventDefault();
      return;
    }
    const way = ARROWS[event.key];
    const { item, corner } = this.editor;
    if (!way || !item) return;
    event.preventDefault();
    event.stopPropagation();
    const by = way.map((value) => value * (event.shiftKey ? 0.01 : 0.05));
    this.editor.draft.change(`keys ${item.key} ${corner}`, (draft) => {
      const now = draft.get(item.key);
      const push = (values) => (place(values) ? moved(values, place(values).map((value, axis) => value + by[axis])) : values);
      if (!isArea(now)) now.at = now.at && push(now.at);
      else now.corners = now.corners.map((values, number) => (corner === null || corner === number ? push(values) : values));
    });
  }
}

// The values of a place with another x and y, in the units that they had.
const moved = (values, to) => values.map((value, axis) => (axis < 2 ? like(value, to[axis]) : value));
const distance = (one, other) => Math.hypot(one[0] - other[0], one[1] - other[1]);

function nearest(points, at, reach) {
  let best = -1;
  points.forEach((point, number) => {
    if (point && distance(point, at) < reach && (best < 0 || distance(point, at) < distance(points[best], at))) best = number;
  });
  return best;
}
