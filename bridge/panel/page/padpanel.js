// How the pad and the arrow keys steer: settings with a live picture of the stick, as it is and as it counts.

import { COLOUR } from "./colours.js";
import { el, slider, write } from "./dom.js";
import { CHOICES, LIMITS, shape, USUAL } from "./padshape.js";
import { cross } from "./planstill.js";

const SIZE = 176;
const percent = (value) => `${Math.round(value * 100)} %`;
const SLIDERS = [
  ["dead", "Dead zone", percent],
  ["edge", "Full from", percent],
  ["curve", "Curve", (value) => value.toFixed(1)],
  ["top", "Top speed", (value) => `${value.toFixed(1)} m/s`],
];
const KEYS = [
  ["keys.speed", "Speed of the keys", [0.2, 8, 0.1], 2, (value) => `${value.toFixed(1)} m/s`],
  ["keys.acceleration", "Acceleration of the keys", [0.5, 40, 0.5], 6, (value) => `${value.toFixed(1)} m/s\u00b2`],
];
const WORDS = { stick: "Stick that steers", second: "Other stick", triggers: "Triggers" };
const SEES = [["house", "I look from the house"], ["upstage", "I sit upstage"], ["seat", "By the seat of stage.yaml"]];

export class PadPanel {
  constructor(app, controls) {
    Object.assign(this, { app, controls });
    this.canvas = el("canvas", { width: 2 * SIZE, height: 2 * SIZE, role: "img", "aria-label": "The stick as it is, and as it counts" });
    this.canvas.style.width = this.canvas.style.height = `${SIZE}px`;
    this.name = el("p", { class: "quiet" }, "");
    this.figures = el("p", { class: "figures" }, "");
    this.sliders = SLIDERS.map(([key, label, words]) => {
      const [min, max, step] = LIMITS[key];
      const made = slider(label, { min, max, step, words, input: (value) => controls.pad.change(key, value) });
      return { ...made, key };
    });
    this.keySliders = KEYS.map(([key, label, [min, max, step], usual, words]) => {
      const made = slider(label, { min, max, step, words, input: (value) => app.settings.set(key, value) });
      return { ...made, key, usual };
    });
    this.choices = Object.keys(CHOICES).map((key) => this.choice(WORDS[key], CHOICES[key].map((word) => [word, word]), (value) => controls.pad.change(key, value), key));
    this.sees = this.choice("What left and right mean", SEES, (value) => app.settings.set("sees", value), "sees");
    this.root = el("section", { class: "pad-panel", "aria-label": "Steering" },
      el("div", { class: "pad-live" }, this.canvas, el("div", {}, el("h3", {}, "Stick"), this.name, this.figures)),
      ...this.sliders.map(({ row }) => row), ...this.choices.map(({ row }) => row), this.sees.row, ...this.keySliders.map(({ row }) => row));
    this.write();
  }

  choice(label, options, run, key) {
    const select = el("select", { "aria-label": label }, ...options.map(([value, words]) => el("option", { value }, words)));
    select.addEventListener("change", () => run(select.value));
    return { row: el("label", { class: "chooser" }, el("span", { class: "label" }, label), select), select, key };
  }

  write() {
    const { settings } = this.controls.pad;
    for (const { set, key } of this.sliders) set(settings[key]);
    for (const { set, key, usual } of this.keySliders) set(this.app.settings.get(key, usual));
    for (const { select, key } of this.choices) select.value = settings[key];
    this.sees.select.value = this.app.settings.get("sees", "house");
  }

  reset() {
    for (const [key, value] of Object.entries(USUAL)) this.controls.pad.change(key, value);
    for (const [key, , , usual] of KEYS) this.app.settings.set(key, usual);
    this.app.settings.set("sees", "house");
    this.write();
  }

  // Drawn for as long as the dialog is open.
  start(dialog) {
    this.write();
    const turn = () => {
      if (!dialog.open) return;
      requestAnimationFrame(turn);
      this.draw();
    };
    turn();
  }

  draw() {
    const { connected, raw, settings } = this.controls.pad;
    const [x, y] = connected ? raw : [0, 0];
    const [sx, sy] = shape(x, y, settings);
    write(this.name, connected ?? "No pad is heard. Press a button on it: browsers tell of a pad only then.");
    write(this.figures, connected ? `stick ${percent(Math.min(1, Math.hypot(x, y)))}, speed ${(Math.hypot(sx, sy) * settings.top).toFixed(2)} m/s` : "");
    const context = this.canvas.getContext("2d");
    const half = SIZE / 2;
    const reach = half - 12;
    context.setTransform(2, 0, 0, 2, 0, 0);
    context.clearRect(0, 0, SIZE, SIZE);
    ring(context, half, reach, COLOUR.gridStrong, []);
    ring(context, half, reach * settings.edge, COLOUR.quiet, [2, 4]);
    ring(context, half, reach * settings.dead, COLOUR.quiet, [4, 3]);
    drawCurve(context, settings);
    context.strokeStyle = COLOUR.quiet;
    cross(context, half + x * reach, half + y * reach);
    context.fillStyle = COLOUR.area;
    context.beginPath();
    context.arc(half + sx * reach, half + sy * reach, 7, 0, 2 * Math.PI);
    context.fill();
  }
}

function ring(context, at, radius, colour, dash) {
  context.setLineDash(dash);
  context.lineWidth = 1.5;
  context.strokeStyle = colour;
  context.beginPath();
  context.arc(at, at, radius, 0, 2 * Math.PI);
  context.stroke();
  context.setLineDash([]);
}

// Along the bottom: what a stick pushed so far gives.
function drawCurve(context, settings) {
  const [left, bottom, size] = [SIZE - 50, SIZE - 4, 46];
  context.lineWidth = 1.5;
  context.strokeStyle = COLOUR.area;
  context.beginPath();
  for (let step = 0; step <= 30; step += 1) {
    context.lineTo(left + (size * step) / 30, bottom - size * shape(step / 30, 0, settings)[0]);
  }
  context.stroke();
}
