// Room on the plan of a focus session: the stage in the middle, heads round it, no shape over another where it can be.

import { bounds, Plan } from "./plan.js";

const BORDER_PX = 70;
const NARROW_PX = 46;
const PUSHES = 40;
export const LOW_PX = 330; // a plan that is lower has no room for names

// A plan with room round the stage for the heads, and without the small marks that are drawn large here.
export class RoomyPlan extends Plan {
  constructor(host, store) {
    super(host, new Quiet(store), { label: "The plan: heads and marks", mark: "data-map" });
    this.known = store;
  }

  fit() {
    const { scene } = this.known ?? {};
    if (!scene || !this.width) return;
    const [x0, y0, x1, y1] = bounds(scene).map((edge, number) => edge + (number < 2 ? 1 : -1));
    const border = this.height < LOW_PX ? NARROW_PX : BORDER_PX;
    const beside = Math.max(border, Math.min(110, this.width / 6));
    const scale = Math.min((this.width - 2 * beside) / (x1 - x0), (this.height - 2 * border) / (y1 - y0));
    this.inner = [x0, y0, x1, y1];
    this.fitted = scale;
    this.look({ left: (x0 + x1) / 2 - this.width / 2 / scale, bottom: (y0 + y1) / 2 - this.height / 2 / scale, scale }, true);
  }
}

class Quiet {
  constructor(store) {
    this.store = store;
  }

  get scene() {
    return this.store.scene && { ...this.store.scene, marks: {} };
  }

  get frame() {
    return this.store.frame;
  }

  on(what, run) {
    return this.store.on(what, run);
  }
}

// Push shapes apart and off the marks, as far as there is room.
export function spread(spots, marks, gap) {
  const inside = (spot) => {
    spot.x = Math.max(spot.low, Math.min(spot.high, spot.x));
    spot.y = Math.max(spot.top, Math.min(spot.bottom, spot.y));
  };
  spots.forEach(inside);
  for (let turn = 0; turn < PUSHES; turn += 1) {
    spots.forEach((one, number) => {
      for (const other of spots.slice(number + 1)) push(one, other, gap, 0.5);
      for (const [x, y] of marks) push({ x, y }, one, gap, 1);
    });
    spots.forEach(inside);
  }
  for (const spot of spots) {
    const beside = spots.filter((other) => other !== spot && Math.abs(other.y - spot.y) < gap);
    spot.room = Math.min(...beside.map((other) => Math.abs(other.x - spot.x)), Infinity);
  }
}

function push(one, other, gap, share) {
  const [dx, dy] = [other.x - one.x || 0.01, other.y - one.y];
  const far = Math.hypot(dx, dy);
  if (far >= gap) return;
  const by = (gap - far) / far;
  other.x += share * by * dx;
  other.y += share * by * dy;
  if (share === 1) return;
  one.x -= share * by * dx;
  one.y -= share * by * dy;
}
