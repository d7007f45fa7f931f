// One camera for all three views. Plan and section are the same drawing without perspective, so that changing the view is
// a smooth turn of one drawing. Stage frame: x right as the audience sees it, y upstage, z up.

import { add, clamp, dot, scale, subtract } from "./vectors.js";

const RIGHT_ANGLE = Math.PI / 2;
const NEAREST = 0.06; // what is nearer to the eye than this part of its distance is cut off
const EYE = 2.9; // distance of the eye, in spans

// yaw: where the eye stands, 0 in the house, turning anticlockwise seen from above; pitch: above the horizon.
export const VIEWS = {
  plan: { yaw: 0, pitch: RIGHT_ANGLE, depth: 0 },
  section: { yaw: RIGHT_ANGLE, pitch: 0, depth: 0 },
  free: { yaw: -0.46, pitch: 0.44, depth: 1 },
};

export class Camera {
  constructor() {
    Object.assign(this, VIEWS.free, { centre: [0, 0, 0], span: 10, width: 1, height: 1, changes: 0 });
    this.prepare();
  }

  // Work out the axes and the scale once, before many points are projected.
  prepare() {
    const [sy, cy, sp, cp] = [Math.sin(this.yaw), Math.cos(this.yaw), Math.sin(this.pitch), Math.cos(this.pitch)];
    this.right = [cy, sy, 0];
    this.back = [sy * cp, -cy * cp, sp];
    this.up = [-sy * sp, cy * sp, cp];
    this.pixels = Math.min(this.width, this.height) / (2 * this.span); // per metre, at the centre
    this.fade = this.depth / (EYE * this.span);
    this.changes += 1;
  }

  resize(width, height) {
    Object.assign(this, { width, height });
    this.prepare();
  }

  set(values) {
    Object.assign(this, values);
    this.prepare();
  }

  // Metres right, up and away from the eye, counted from the centre.
  seen(p) {
    const d = subtract(p, this.centre);
    return [dot(d, this.right), dot(d, this.up), -dot(d, this.back)];
  }

  nearness([, , away]) {
    return 1 + this.fade * away;
  }

  flatten(s) {
    const k = this.pixels / Math.max(NEAREST, this.nearness(s));
    return [this.width / 2 + s[0] * k, this.height / 2 - s[1] * k];
  }

  // Pixels of a point, or null where it is behind the eye.
  project(p) {
    const s = this.seen(p);
    return this.nearness(s) > NEAREST ? this.flatten(s) : null;
  }

  // Pixels per metre at a point.
  scaleAt(p) {
    return this.pixels / Math.max(NEAREST, this.nearness(this.seen(p)));
  }

  // Pixels of the part of a line that is before the eye, or null.
  line(a, b) {
    let [first, second] = [this.seen(a), this.seen(b)];
    const [na, nb] = [this.nearness(first) - NEAREST, this.nearness(second) - NEAREST];
    if (na < 0 && nb < 0) return null;
    const cut = (k) => first.map((value, i) => value + (second[i] - value) * k);
    if (na < 0) first = cut(na / (na - nb));
    else if (nb < 0) second = cut(na / (na - nb));
    return [this.flatten(first), this.flatten(second)];
  }

  // Pixels of the part of a flat polygon that is before the eye; empty where nothing is.
  polygon(points) {
    const list = points.map((p) => this.seen(p));
    if (!this.fade) return list.map((s) => this.flatten(s));
    const out = [];
    list.forEach((s, i) => {
      const next = list[(i + 1) % list.length];
      const [a, b] = [this.nearness(s) - NEAREST, this.nearness(next) - NEAREST];
      if (a >= 0) out.push(this.flatten(s));
      if (a >= 0 !== b >= 0) out.push(this.flatten(s.map((v, k) => v + (next[k] - v) * (a / (a - b)))));
    });
    return out;
  }

  orbit(dx, dy) {
    this.set({ yaw: this.yaw - dx * 0.008, pitch: clamp(this.pitch + dy * 0.008, 0.02, RIGHT_ANGLE) });
  }

  // Move the drawing by pixels.
  shift(dx, dy) {
    const k = 1 / this.pixels;
    this.set({ centre: add(this.centre, add(scale(this.right, -dx * k), scale(this.up, dy * k))) });
  }

  // Zoom, keeping what lies under the pixel (x, y) where it is.
  zoom(factor, x = this.width / 2, y = this.height / 2) {
    const span = clamp(this.span * factor, 0.5, 200);
    const [dx, dy] = [x - this.width / 2, y - this.height / 2];
    this.shift(-dx, -dy);
    this.set({ span });
    this.shift(dx, dy);
  }

  // The centre and span from which all points are in the picture, for the angles of `view`.
  fitting(view, points, margin) {
    const probe = new Camera();
    probe.set({ ...view, centre: middle(points), span: 10, width: this.width, height: this.height });
    for (let round = 0; round < 6; round += 1) {
      const pixels = points.map((p) => probe.flatten(probe.seen(p)));
      const [x0, x1] = range(pixels.map((p) => p[0]));
      const [y0, y1] = range(pixels.map((p) => p[1]));
      const free = [this.width - margin.left - margin.right, this.height - margin.top - margin.bottom];
      const factor = Math.max((x1 - x0) / Math.max(50, free[0]), (y1 - y0) / Math.max(50, free[1]));
      probe.shift(
        (this.width + margin.left - margin.right) / 2 - (x0 + x1) / 2,
        (this.height + margin.top - margin.bottom) / 2 - (y0 + y1) / 2,
      );
      probe.zoom(clamp(factor, 0.2, 5), (this.width + margin.left - margin.right) / 2,
        (this.height + margin.top - margin.bottom) / 2);
    }
    return { ...view, centre: probe.centre, span: probe.span };
  }
}

function range(values) {
  return [Math.min(...values), Math.max(...values)];
}

function middle(points) {
  return [0, 1, 2].map((axis) => {
    const [low, high] = range(points.map((p) => p[axis]));
    return (low + high) / 2;
  });
}
