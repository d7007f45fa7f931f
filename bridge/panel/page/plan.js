// The stage from above on a canvas: what stands still is drawn once, what moves at every picture. Metres in, pixels out;
// x to the right as the audience sees it, y upstage (up on the screen).

import { mark } from "./dom.js";
import { drawStill } from "./planstill.js";

const MARGIN_PX = 18;
const EDGE_M = 1;

export class Plan {
  // `host` is the element that gets the canvas; `points(scene)` may add points that must be seen.
  constructor(host, store, { label = "The stage from above", points = () => [] } = {}) {
    this.host = host;
    this.store = store;
    this.points = points;
    this.canvas = document.createElement("canvas");
    this.canvas.tabIndex = 0;
    this.canvas.setAttribute("role", "application");
    this.canvas.setAttribute("aria-label", label);
    this.still = document.createElement("canvas");
    this.layers = []; // functions (context, plan, frame), drawn in order over what stands still
    this.pictures = 0;
    this.dirty = true;
    this.view = { left: -6, bottom: -2, scale: 20 };
    host.append(this.canvas);
    new ResizeObserver(() => this.resize()).observe(host);
    store.on("scene", () => this.fit());
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
    Object.assign(this, { width, height });
    this.fit();
  }

  // Show the whole stage, as large as it goes.
  fit() {
    const { scene } = this.store;
    if (!scene || !this.width) return;
    const [x0, y0, x1, y1] = bounds(scene, this.points(scene));
    const free = [Math.max(40, this.width - 2 * MARGIN_PX), Math.max(40, this.height - 2 * MARGIN_PX)];
    const scale = Math.min(free[0] / (x1 - x0), free[1] / (y1 - y0));
    const left = (x0 + x1) / 2 - this.width / 2 / scale;
    const bottom = (y0 + y1) / 2 - this.height / 2 / scale;
    this.look({ left, bottom, scale });
  }

  look(view) {
    this.view = view;
    this.dirty = true;
    this.stale = true;
    const { left, bottom, scale } = view;
    const edges = { left, bottom, right: left + this.width / scale, top: bottom + this.height / scale };
    mark(this.canvas, "data-plan", "");
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
