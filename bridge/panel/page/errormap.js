// The predicted aim error as a map over the stage: bands with hatch and numbers, so that it is read without colour.

import { el } from "./dom.js";
import { write } from "./planstill.js";

// Up to so many metres; hatch: lines, how far apart in pixels, and both ways.
export const BANDS = [
  { below: 0.05, words: "under 5", colour: "124, 196, 178", gap: 0 },
  { below: 0.1, words: "5–10", colour: "190, 200, 140", gap: 16 },
  { below: 0.2, words: "10–20", colour: "233, 180, 76", gap: 9 },
  { below: 0.3, words: "20–30", colour: "240, 150, 90", gap: 9, cross: true },
  { below: Infinity, words: "30 +", colour: "240, 110, 100", gap: 5, cross: true },
];
const NUMBER_PX = 66; // a number in each such square, where the map has one
const NEAR_PX = 32;

export const bandOf = (metres) => BANDS.findIndex((band) => metres < band.below);

// `map`: {x: [m], y: [m], p95: rows by y of metres or null}, drawn where `plan` has it.
// No number stands nearer than NEAR_PX to a place in `avoid`, pixels.
export function drawErrorMap(context, plan, map, avoid = []) {
  const [dx, dy] = [spacing(map.x), spacing(map.y)];
  const cells = BANDS.map(() => []);
  map.y.forEach((y, row) => map.x.forEach((x, column) => {
    const value = map.p95[row][column];
    if (value === null) return;
    const [left, top] = plan.toPixels(x - dx / 2, y + dy / 2);
    const [right, bottom] = plan.toPixels(x + dx / 2, y - dy / 2);
    cells[bandOf(value)].push([left, top, right - left, bottom - top]);
  }));
  cells.forEach((boxes, number) => fillBand(context, plan, BANDS[number], boxes));
  drawNumbers(context, plan, map, [dx, dy], avoid);
}

const spacing = (values) => (values.length > 1 ? (values[values.length - 1] - values[0]) / (values.length - 1) : 1);

function fillBand(context, plan, { colour, gap, cross }, boxes) {
  if (!boxes.length) return;
  context.save();
  context.beginPath();
  for (const box of boxes) context.rect(...box);
  context.clip();
  context.fillStyle = `rgba(${colour}, 0.2)`;
  context.fillRect(0, 0, plan.width, plan.height);
  hatch(context, plan.width, plan.height, colour, gap, cross);
  context.restore();
}

function hatch(context, width, height, colour, gap, cross) {
  if (!gap) return;
  context.strokeStyle = `rgba(${colour}, 0.55)`;
  context.lineWidth = 1;
  context.beginPath();
  for (let x = -height; x < width; x += gap) {
    context.moveTo(x, height);
    context.lineTo(x + height, 0);
    if (cross) {
      context.moveTo(x, 0);
      context.lineTo(x + height, height);
    }
  }
  context.stroke();
}

function drawNumbers(context, plan, map, steps, avoid) {
  const [across, down] = steps.map((step) => Math.max(1, Math.round(NUMBER_PX / (Math.abs(step) * plan.view.scale))));
  for (let row = Math.floor(down / 2); row < map.y.length; row += down) {
    for (let column = Math.floor(across / 2); column < map.x.length; column += across) {
      const value = map.p95[row][column];
      const [px, py] = plan.toPixels(map.x[column], map.y[row]);
      const free = avoid.every(([x, y]) => Math.abs(x - px) > NEAR_PX || Math.abs(y - py) > NEAR_PX);
      if (value !== null && free) write(context, String(Math.round(100 * value)), px, py, "#ece8dc", { weight: 600, size: 14 });
    }
  }
}

// The legend, with the same hatch, in centimetres.
export function makeLegend() {
  const title = el("p", { class: "f-maptitle" });
  const bands = BANDS.map((band) => {
    const sample = el("canvas", { width: 28, height: 20, "aria-hidden": "true" });
    const context = sample.getContext("2d");
    context.fillStyle = `rgba(${band.colour}, 0.3)`;
    context.fillRect(0, 0, 28, 20);
    hatch(context, 28, 20, band.colour, band.gap && Math.min(band.gap, 11), band.cross);
    return el("li", {}, sample, band.words);
  });
  return { title, element: el("div", { class: "f-legend", hidden: true }, title, el("ul", {}, ...bands)) };
}
