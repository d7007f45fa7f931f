// The stage as it is seen from where the operator sits: the same drawing in perspective. A view as planlive.js and
// handpointers.js know it; the pointer means the floor under it. Metres in the stage frame, pixels of the canvas.

import { Camera } from "./camera.js";
import { mark } from "./dom.js";
import { floorsNow, heightAt, meets } from "./planfloor.js";
import { drawSeatStill } from "./seatstill.js";
import { add, length, scale, subtract } from "./vectors.js";

const MARGIN_PX = 26;
const LOWER = 0.2; // of the height: where there is room the stage lies so much below the middle, with the heads over it
const PERSON_M = 1.9; // so high over the stage everything must be in the picture
const WIDEST = 1.7; // tangent of half of what the picture shows at most
const HOUSE_M = 12; // so far before the stage the seat is where nobody has chosen one
const EYE_M = 4;

export class Seat {
  constructor(host, store, settings) {
    Object.assign(this, { host, store, settings, flat: false, written: [], revision: 0, pictures: 0, layers: [] });
    this.canvas = document.createElement("canvas");
    this.canvas.tabIndex = 0;
    this.canvas.setAttribute("role", "application");
    this.canvas.setAttribute("aria-label", "The stage from my seat");
    this.still = document.createElement("canvas");
    this.camera = new Camera();
    host.append(this.canvas);
    new ResizeObserver(() => this.resize()).observe(host);
    store.on("scene", () => this.fit());
    store.on("frame", (frame) => this.frame(frame));
    const turn = () => {
      requestAnimationFrame(turn);
      this.draw();
    };
    requestAnimationFrame(turn);
  }

  frame(frame) {
    this.dirty = true;
    const switched = JSON.stringify([frame.areas, frame.no_light, frame.floors]);
    if (switched === this.switched) return;
    this.switched = switched;
    this.stale = true;
    if (this.store.scene) this.floors = floorsNow(this.store.scene, frame);
  }

  // Where the eye is: chosen on this machine, else as the show says, else in the middle of the house.
  get eye() {
    const { scene } = this.store;
    const own = this.settings.get("seat", null);
    if (Array.isArray(own) && own.length === 3 && own.every(Number.isFinite)) return own;
    if (scene.seat) return scene.seat;
    const [xs, ys] = [0, 1].map((i) => scene.polygon.corners.map((corner) => corner[i]));
    return [(Math.min(...xs) + Math.max(...xs)) / 2, Math.min(...ys) - HOUSE_M, EYE_M];
  }

  // Sit there from now on; null: as the show says.
  sit(eye) {
    this.settings.set("seat", eye);
    this.fit();
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

  // Look at the middle of the stage so that all of it is as large as it goes.
  fit() {
    const { scene, frame } = this.store;
    if (!scene || !this.width) return;
    this.floors = floorsNow(scene, frame);
    const points = seenFromSeat(scene, this.floors);
    const [from, to] = [0, 1, 2].map((i) => points.map((p) => p[i])).reduce(
      ([low, high], values) => [[...low, Math.min(...values)], [...high, Math.max(...values)]], [[], []]);
    this.camera.resize(this.width, this.height);
    this.lookAt(scale(add(from, to), 0.5), 6);
    for (let round = 0; round < 8; round += 1) this.nearer(points);
    this.revision += 1;
    this.dirty = true;
    this.stale = true;
    mark(this.canvas, "data-seat", this.eye.map((value) => value.toFixed(2)).join(" "));
  }

  // The shared camera turned into an eye at a fixed place: what lies `reach` away has `span` metres to the nearer edge.
  lookAt(point, span) {
    const { eye, camera } = this;
    const away = subtract(eye, point);
    const reach = Math.max(0.5, length(away));
    camera.set({ yaw: Math.atan2(away[0], -away[1]), pitch: Math.asin(away[2] / reach), centre: point, span, depth: 1 });
    camera.set({ depth: 1 / (reach * camera.fade) });
    this.reach = reach;
  }

  nearer(points) {
    const { camera, width, height } = this;
    const pixels = points.map((p) => camera.project(p)).filter(Boolean);
    if (!pixels.length) return;
    const [xs, ys] = [0, 1].map((i) => pixels.map((p) => p[i]));
    const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    const factor = Math.max((x1 - x0) / Math.max(40, width - 2 * MARGIN_PX), (y1 - y0) / Math.max(40, height - 2 * MARGIN_PX));
    const lower = Math.max(0, Math.min(LOWER * height, (height - (y1 - y0) / factor) / 2 - MARGIN_PX)) * factor;
    const way = this.way((x0 + x1) / 2, (y0 + y1) / 2 - lower);
    const widest = (WIDEST * this.reach * Math.min(width, height)) / Math.max(width, height);
    this.lookAt(add(this.eye, scale(way, this.reach / length(way))), Math.min(widest, camera.span * factor));
  }

  // Direction from the eye through a pixel, not of unit length.
  way(px, py) {
    const { camera } = this;
    const across = add(scale(camera.right, (px - this.width / 2) / camera.pixels), scale(camera.up, (this.height / 2 - py) / camera.pixels));
    return add(across, scale(camera.back, -this.reach));
  }

  floor(px, py) {
    return meets(this.floors, this.eye, this.way(px, py));
  }

  pixel(x, y) {
    return this.project([x, y, heightAt(this.floors, x, y)]);
  }

  project(point) {
    return this.camera.project(point);
  }

  // For outside checks: pixels of the canvas where a point of the stage is seen, or null behind the eye.
  toPixels(point) {
    return this.project(point);
  }

  draw() {
    const { scene, frame } = this.store;
    if (!this.dirty || !scene || !this.width || !this.host.offsetParent) return;
    this.dirty = false;
    if (this.stale) {
      this.stale = false;
      const below = this.still.getContext("2d");
      below.setTransform(this.dense, 0, 0, this.dense, 0, 0);
      drawSeatStill(below, this, scene, frame);
    }
    const context = this.canvas.getContext("2d");
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.globalAlpha = 1;
    context.drawImage(this.still, 0, 0);
    context.setTransform(this.dense, 0, 0, this.dense, 0, 0);
    for (const layer of this.layers) layer(context, this, frame);
    this.pictures += 1;
  }
}

// What must be in the picture: the stage, and a person at its corners.
function seenFromSeat(scene, floors) {
  const flat = [scene.polygon, ...scene.areas].flatMap((area) => area.corners.map(([x, y]) => [x, y, 0]));
  const raised = floors.flatMap(({ corners, height }) => corners.map(([x, y]) => [x, y, height]));
  const all = [...flat, ...raised];
  return [...all, ...all.map(([x, y, z]) => [x, y, z + PERSON_M])];
}
