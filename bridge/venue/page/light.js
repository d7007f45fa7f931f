// Beams and pools of light, added up as light adds up. Drawn on a canvas of fewer pixels than the screen: light is soft,
// and the saving keeps 48 heads smooth where there is no graphics processor.

import { across, add, distance, hull, isPoint, scale, unit } from "./vectors.js";

const RIM = 20; // points round the end of a beam
const NOWHERE_M = 26; // how far a beam is drawn that hits nothing
const LENGTH = 256; // of the beam picture; the beam's end is at END of it
const END = 200;
const MANY = 24; // heads
const WHITE = [255, 255, 255];
const FINE = 8; // steps of a colour that are drawn apart: 32 of each of its three parts
const MOST_COLOURS = 96; // that are kept ready
const TINTS = [[255, 210, 150], [255, 188, 138], [255, 228, 184], [246, 204, 172]];
const TURNS = Array.from({ length: RIM }, (_, i) => [Math.cos((2 * Math.PI * i) / RIM), Math.sin((2 * Math.PI * i) / RIM)]);

// White light of the strength that `strength` gives for each pixel.
function picture(width, height, strength) {
  const canvas = new OffscreenCanvas(width, height);
  const context = canvas.getContext("2d");
  const image = context.createImageData(width, height);
  for (let y = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1) {
      image.data.set([...WHITE, Math.round(255 * Math.max(0, Math.min(1, strength(x + 0.5, y + 0.5))))], 4 * (y * width + x));
    }
  }
  context.putImageData(image, 0, 0);
  return canvas;
}

// A beam from its lens at the left edge: a triangle, bright along its axis, weaker with distance.
function beamPicture() {
  return picture(LENGTH, LENGTH / 2, (x, y) => {
    const off = (y - LENGTH / 4) / ((x * LENGTH) / 4 / LENGTH);
    const along = x / END;
    return Math.max(0, 1 - off * off) ** 1.4 * (0.16 + 0.62 / (1 + 6 * along));
  });
}

// A pool: nearly even, with a soft edge, as a followspot's is.
function poolPicture() {
  return picture(96, 96, (x, y) => {
    const r = Math.hypot(x - 48, y - 48) / 48;
    const edge = Math.min(1, Math.max(0, (1 - r) / 0.16));
    return edge * edge * (3 - 2 * edge) * (1 - 0.35 * r * r);
  });
}

// The same picture in a colour.
function coloured(image, [r, g, b]) {
  const canvas = new OffscreenCanvas(image.width, image.height);
  const context = canvas.getContext("2d");
  context.drawImage(image, 0, 0);
  context.globalCompositeOperation = "source-in";
  context.fillStyle = `rgb(${r}, ${g}, ${b})`;
  context.fillRect(0, 0, image.width, image.height);
  return canvas;
}

// What a head's light looks like: white keeps the tint of its truss, and the more colour, the less of that.
export function lookOf(tint, colour) {
  if (!colour) return tint;
  const most = Math.max(...colour);
  const white = most > 0 ? Math.min(...colour) / most : 0;
  return colour.map((part, i) => Math.min(255, Math.round(((255 + (tint[i] - 255) * white) * part) / 255 / FINE) * FINE));
}

// The centre of the lit end of a beam and points round its edge, all in metres.
export function beamEnd(head) {
  const e = head.ellipse;
  if (e && isPoint(e.c)) return { centre: e.c, a: e.a, b: e.b };
  const centre = isPoint(head.hit) ? head.hit : add(head.start, scale(unit(head.dir), NOWHERE_M));
  const radius = distance(head.start, centre) * Math.tan(((head.zoom_deg || 8) * Math.PI) / 360);
  const [a, b] = across(unit(head.dir));
  return { centre, a: scale(a, radius), b: scale(b, radius) };
}

export function rimOf({ centre, a, b }) {
  return TURNS.map(([c, s]) => [0, 1, 2].map((i) => centre[i] + a[i] * c + b[i] * s));
}

export class Light {
  constructor() {
    this.canvas = document.createElement("canvas");
    this.context = this.canvas.getContext("2d");
    this.beam = beamPicture();
    this.disc = poolPicture();
    this.colours = new Map();
    this.slow = 0; // how many pictures in a row came late
    this.quality = this.best = 0.75; // canvas pixels per screen pixel
  }

  // Begin with as many pixels as many heads leave time for.
  prepare(heads) {
    this.quality = heads > MANY ? 0.5 : 0.75;
    this.slow = 0;
  }

  // Pattern of a beam and picture of a pool in the colour of a head.
  paint(tint, colour) {
    const seen = lookOf(TINTS[tint % TINTS.length], colour);
    const key = seen.join();
    if (!this.colours.has(key)) {
      if (this.colours.size >= MOST_COLOURS) this.colours.clear();
      const beam = this.context.createPattern(coloured(this.beam, seen), "no-repeat");
      this.colours.set(key, { beam, pool: coloured(this.disc, seen) });
    }
    return this.colours.get(key);
  }

  // Draw all beams of a frame as the camera sees them. `tintOf(i)` gives the colour of head i.
  draw(camera, heads, tintOf, brightness) {
    this.fit(camera);
    const context = this.context;
    const k = this.canvas.width / camera.width;
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.globalCompositeOperation = "source-over";
    context.clearRect(0, 0, this.canvas.width, this.canvas.height);
    context.globalCompositeOperation = "screen"; // adds up, and nears white without burning out
    const lit = heads.filter((head) => head.level > 0.005 && isPoint(head.start) && isPoint(head.dir));
    const gain = brightness * Math.min(0.9, 3.6 / (lit.length + 3) ** 0.62);
    heads.forEach((head, i) => {
      if (head.level > 0.005 && isPoint(head.start) && isPoint(head.dir)) this.one(camera, head, tintOf(i), gain, k);
    });
    context.globalAlpha = 1;
  }

  one(camera, head, tint, gain, k) {
    const paint = this.paint(tint, head.colour);
    const end = beamEnd(head);
    const rim = rimOf(end);
    const level = Math.sqrt(Math.min(1, head.level)); // eyes see half the light as well more than half as bright
    this.context.globalAlpha = gain * level;
    this.shaft(camera, head, end, rim, paint, k);
    if (head.ellipse) {
      this.context.globalAlpha = Math.min(1, gain * level * 0.34);
      this.pool(camera, end, paint, k);
    }
  }

  shaft(camera, head, end, rim, paint, k) {
    const axis = camera.line(head.start, end.centre);
    if (!axis) return;
    const [apex, centre] = axis;
    const u = [centre[0] - apex[0], centre[1] - apex[1]];
    const square = u[0] * u[0] + u[1] * u[1];
    if (square < 4) return;
    const edge = camera.polygon(rim);
    if (edge.length < 3) return;
    const [low, high] = spread(apex, u, square, edge);
    if (high - low > 4) return; // seen along the beam: only the pool shows
    const context = this.context;
    context.setTransform(k, 0, 0, k, 0, 0);
    context.beginPath();
    hull([apex, ...edge]).forEach(([x, y]) => context.lineTo(x, y));
    const stretch = LENGTH / END;
    const corner = (ratio) => [
      apex[0] + stretch * (u[0] - ratio * u[1]),
      apex[1] + stretch * (u[1] + ratio * u[0]),
    ];
    const [first, last] = [corner(low), corner(high)];
    const down = [(last[0] - first[0]) / (LENGTH / 2), (last[1] - first[1]) / (LENGTH / 2)];
    const along = [
      ((first[0] + last[0]) / 2 - apex[0]) / LENGTH,
      ((first[1] + last[1]) / 2 - apex[1]) / LENGTH,
    ];
    const origin = [apex[0] - (down[0] * LENGTH) / 4, apex[1] - (down[1] * LENGTH) / 4];
    context.transform(along[0], along[1], down[0], down[1], origin[0], origin[1]);
    context.fillStyle = paint.beam;
    context.fill();
  }

  pool(camera, end, paint, k) {
    const c = camera.project(end.centre);
    if (!c) return;
    const half = (axis) => {
      const there = camera.project(add(end.centre, axis)) ?? c;
      const back = camera.project(add(end.centre, scale(axis, -1))) ?? c;
      return [(there[0] - back[0]) / 2, (there[1] - back[1]) / 2];
    };
    const [a, b] = [half(end.a), half(end.b)];
    const context = this.context;
    context.setTransform(k, 0, 0, k, 0, 0);
    context.transform(a[0] / 48, a[1] / 48, b[0] / 48, b[1] / 48, c[0], c[1]);
    context.drawImage(paint.pool, -48, -48);
  }

  fit(camera) {
    const screen = Math.min(window.devicePixelRatio || 1, 2);
    const width = Math.max(1, Math.round(camera.width * screen * this.quality));
    const height = Math.max(1, Math.round(camera.height * screen * this.quality));
    if (this.canvas.width !== width || this.canvas.height !== height) Object.assign(this.canvas, { width, height });
  }

  // Use fewer pixels where pictures come late, and more again where they long have not. `late` is measured between
  // pictures, not round our calls: the browser paints after them.
  learn(late) {
    this.slow = late ? Math.max(0, this.slow) + 1 : Math.min(0, this.slow) - 1;
    if (this.slow > 12 && this.quality > 0.35) [this.quality, this.slow] = [this.quality * 0.8, 0];
    if (this.slow < -900 && this.quality < this.best) [this.quality, this.slow] = [Math.min(this.best, this.quality * 1.25), 0];
  }
}

// The two edges of a beam beside its axis: smallest and largest slope of the end's points as the apex sees them.
function spread(apex, u, square, edge) {
  let [low, high] = [Infinity, -Infinity];
  for (const [x, y] of edge) {
    const [vx, vy] = [x - apex[0], y - apex[1]];
    const along = (vx * u[0] + vy * u[1]) / square;
    if (along < 0.02) return [-9, 9];
    const ratio = (vy * u[0] - vx * u[1]) / square / along;
    low = Math.min(low, ratio);
    high = Math.max(high, ratio);
  }
  return [low, high];
}
