// The stage from above on a canvas: what stands still is drawn once, what moves at every picture. Metres in, pixels out;
// x to the right as the audience sees it, y upstage (up on the screen).

import { mark } from "./dom.js";
import { drawStill } from "./planstill.js";

const MARGIN_PX = 18;
const EDGE_M = 1;
const FARTHEST = 0.4; // of the scale at which the whole stage is seen
const NEAREST = 16;

export class Plan {
  // `host` is the element that gets the canvas; `points(scene)` may add points that must be seen. `mark` is the canvas's
  // attribute: the only `data-plan` of the page is the one that steers.
  constructor(host, store, { label = "The stage from above", points = () => [], mark: attribute = "data-plan" } = {}) {
    this.attribute = attribute;
    this.host = host;
    this.store = store;
    this.points = points;
    this.canvas = document.createElement("canvas");
    this.canvas.tabIndex = 0;
    this.canvas.setAttribute("role", "application");
    this.canvas.setAttribute("aria-label", label);
    this.still = document.createElement("canvas");
    this.layers = []; // functions (context, plan, frame), drawn in order over what stands still
    this.flat = true; // seen from above: what is upright has no length
    this.written = [];
    this.revision = 0; // counts changes of what a pixel means
    this.onWhole = () => {}; // told whether the whole stage is in the picture
    this.extra = []; // points that must be seen too, for a while
    this.pictures = 0;
    this.dirty = true;
    this.view = { left: -6, bottom: -2, scale: 20 };
    host.append(this.canvas);
    new ResizeObserver(() => this.resize()).observe(host);
    store.on("scene", () => this.again());
    this.canvas.addEventListener("keydown", (event) => this.key(event));
    store.on("frame", (frame) => {
      this.dirty = true;
      const switched = JSON.stringify([frame.areas, frame.no_light, frame.floors]);
      this.stale ||= switched !== this.switched;
      this.switched = switched;
    });
    const turn = () => {
      requestAnimationFrame(turn);
      this.draw();
    };
    requestAnimationFrame(turn);
  }

  resize() {
    const { clientWidth: width, clientHeight: height } = this.host;
    if (!width || !height) return;
    this.dense = Math.min(2, window.devicePixelRatio || 1);
    for (const canvas of [this.canvas, this.still]) {
      canvas.width = Math.round(width * this.dense);
      canvas.height = Math.round(height * this.dense);
    }
    const middle = this.width ? this.toStage(this.width / 2, this.height / 2) : null;
    Object.assign(this, { width, height });
    if (!middle || this.whole) return this.fit();
    const { scale } = this.view;
    return this.look({ left: middle[0] - width / 2 / scale, bottom: middle[1] - height / 2 / scale, scale });
  }

  // Another scene: the whole of it, where the whole of the one before was seen.
  again() {
    if (this.whole || this.fitted === undefined) this.fit();
    else this.look(this.view);
  }

  // Show the whole stage, as large as it goes.
  fit() {
    const { scene } = this.store;
    if (!scene || !this.width) return;
    const [x0, y0, x1, y1] = bounds(scene, [...this.points(scene), ...this.extra]);
    const free = [Math.max(40, this.width - 2 * MARGIN_PX), Math.max(40, this.height - 2 * MARGIN_PX)];
    const scale = Math.min(free[0] / (x1 - x0), free[1] / (y1 - y0));
    const left = (x0 + x1) / 2 - this.width / 2 / scale;
    const bottom = (y0 + y1) / 2 - this.height / 2 / scale;
    this.fitted = scale;
    this.look({ left, bottom, scale }, true);
  }

  // Zoom, keeping what lies under the pixel (x, y) where it is.
  zoomAt(factor, x = this.width / 2, y = this.height / 2) {
    const scale = Math.min(NEAREST * this.fitted, Math.max(FARTHEST * this.fitted, this.view.scale * factor));
    const [sx, sy] = this.toStage(x, y);
    this.look({ left: sx - x / scale, bottom: sy - (this.height - y) / scale, scale });
  }

  // Shift the picture by pixels.
  move(dx, dy) {
    const { left, bottom, scale } = this.view;
    this.look({ left: left - dx / scale, bottom: bottom + dy / scale, scale });
  }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "+" || event.key === "=") this.zoomAt(1.25);
    else if (event.key === "-") this.zoomAt(0.8);
    else if (event.key === "0") this.fit();
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  look(view, whole = false) {
    this.view = view;
    this.revision += 1;
    if (whole !== this.whole) this.onWhole(whole);
    this.whole = whole;
    this.dirty = true;
    this.stale = true;
    const { left, bottom, scale } = view;
    const edges = { left, bottom, right: left + this.width / scale, top: bottom + this.height / scale };
    mark(this.canvas, this.attribute, "");
    for (const [edge, value] of Object.entries(edges)) mark(this.canvas, `data-${edge}`, value.toFixed(4));
  }

  toPixels(x, y) {
    const { left, bottom, scale } = this.view;
    return [(x - left) * scale, this.height - (y - bottom) * scale];
  }

  toStage(px, py) {
    const { left, bottom, scale } = this.view;
    return [left + px / scale, bottom + (this.height - py) / scale];
  }

  // A view as the hand and the drawings know it (handpointers.js, planlive.js): the floor under a pixel, the pixel of a place.
  floor(px, py) {
    return this.toStage(px, py);
  }

  pixel(x, y) {
    return this.toPixels(x, y);
  }

  project([x, y]) {
    return this.toPixels(x, y);
  }

  // Where an event happened, in metres.
  at(event) {
    const box = this.canvas.getBoundingClientRect();
    return this.toStage(event.clientX - box.left, event.clientY - box.top);
  }

  draw() {
    const { scene, frame } = this.store;
    if (!this.dirty || !scene || !this.width || !this.host.offsetParent) return;
    this.dirty = false;
    const context = this.canvas.getContext("2d");
    if (this.stale) {
      this.stale = false;
      const below = this.still.getContext("2d");
      below.setTransform(this.dense, 0, 0, this.dense, 0, 0);
      drawStill(below, this, scene, frame);
    }
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.globalAlpha = 1;
    context.drawImage(this.still, 0, 0);
    context.setTransform(this.dense, 0, 0, this.dense, 0, 0);
    for (const layer of this.layers) layer(context, this, frame);
    this.pictures += 1;
  }
}

// The plan rectangle in which everything lies that an operator needs: stage, areas, marks; heads only as far as they are near.
export function bounds(scene, more = []) {
  const points = [
    ...scene.polygon.corners,
    ...[...scene.areas, ...scene.floors, ...scene.no_light].flatMap((area) => area.corners),
    ...Object.values(scene.marks).filter((m) => m.at).map((m) => m.at),
    ...more,
  ];
  const [xs, ys] = [points.map((p) => p[0]), points.map((p) => p[1])];
  return [Math.min(...xs) - EDGE_M, Math.min(...ys) - EDGE_M, Math.max(...xs) + EDGE_M, Math.max(...ys) + EDGE_M];
}
