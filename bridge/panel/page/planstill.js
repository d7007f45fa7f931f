// What stands still on the plan: grid, performance polygon, areas, floors, no-light areas and marks.

import { COLOUR, FONT } from "./colours.js";

// Also leaves in `plan.written` the boxes of its words, so that what moves does not write over them.
export function drawStill(context, plan, scene, frame) {
  plan.written = [];
  context.globalAlpha = 1;
  context.fillStyle = COLOUR.ground;
  context.fillRect(0, 0, plan.width, plan.height);
  drawGrid(context, plan);
  for (const floor of scene.floors) drawFloor(context, plan, floor, frame);
  for (const area of scene.areas) drawArea(context, plan, area, frame?.areas?.[area.name] ?? area.on);
  drawPolygon(context, plan, scene.polygon);
  for (const area of scene.no_light) drawNoLight(context, plan, area, frame?.no_light?.[area.name] ?? area.on);
  for (const [name, mark] of Object.entries(scene.marks)) if (mark.at) drawMark(context, plan, name, mark.at);
}

function drawGrid(context, plan) {
  const [x0, y0] = plan.toStage(0, plan.height);
  const [x1, y1] = plan.toStage(plan.width, 0);
  const line = (value, from, to) => {
    context.strokeStyle = value % 5 === 0 ? COLOUR.gridStrong : COLOUR.grid;
    context.lineWidth = 1;
    context.beginPath();
    context.moveTo(...from);
    context.lineTo(...to);
    context.stroke();
  };
  for (let x = Math.ceil(x0); x <= x1; x += 1) line(x, plan.toPixels(x, y0), plan.toPixels(x, y1));
  for (let y = Math.ceil(y0); y <= y1; y += 1) line(y, plan.toPixels(x0, y), plan.toPixels(x1, y));
  plan.written.push(write(context, "audience", 8, plan.height - 11, COLOUR.quiet, { align: "left" }));
}

export function trace(context, plan, corners) {
  context.beginPath();
  corners.forEach(([x, y]) => context.lineTo(...plan.toPixels(x, y)));
  context.closePath();
}

// Returns the box that it takes, [left, top, right, bottom] in pixels.
export function write(context, text, x, y, colour, { weight = 500, size = 13, align = "center" } = {}) {
  context.font = `${weight} ${size}px ${FONT}`;
  context.textAlign = align;
  context.textBaseline = "middle";
  context.lineJoin = "round";
  context.lineWidth = 4;
  context.strokeStyle = "rgba(12, 13, 11, 0.85)";
  context.strokeText(text, x, y);
  context.fillStyle = colour;
  context.fillText(text, x, y);
  const width = context.measureText(text).width;
  const left = x - { left: 0, center: width / 2, right: width }[align];
  return [left, y - size / 2 - 2, left + width, y + size / 2 + 2];
}

const centre = (corners) => [0, 1].map((i) => corners.reduce((sum, corner) => sum + corner[i], 0) / corners.length);

function drawFloor(context, plan, { name, corners, height }, frame) {
  const lies = frame?.floors?.[name] ?? height;
  trace(context, plan, corners);
  context.fillStyle = "rgba(138, 166, 155, 0.12)";
  context.fill();
  context.lineWidth = 1.5;
  context.strokeStyle = COLOUR.floor;
  context.stroke();
  plan.written.push(write(context, `${name} ${lies > 0 ? "+" : ""}${+lies.toFixed(2)} m`, ...plan.toPixels(...centre(corners)), COLOUR.floor));
}

function drawArea(context, plan, { name, corners }, on) {
  trace(context, plan, corners);
  context.setLineDash(on ? [] : [3, 7]);
  context.lineWidth = 2;
  context.strokeStyle = COLOUR.more;
  context.stroke();
  context.setLineDash([]);
  plan.written.push(write(context, on ? name : `${name} (off)`, ...plan.toPixels(...centre(corners)), COLOUR.more));
}

function drawPolygon(context, plan, { corners }) {
  trace(context, plan, corners);
  context.fillStyle = "rgba(233, 180, 76, 0.05)";
  context.fill();
  context.lineWidth = 3;
  context.strokeStyle = COLOUR.area;
  context.stroke();
}

// Hatched, so that it is told from every other area without its colour.
function drawNoLight(context, plan, { name, corners }, on) {
  const points = corners.map(([x, y]) => plan.toPixels(x, y));
  const [xs, ys] = [points.map((p) => p[0]), points.map((p) => p[1])];
  const [x0, y0, x1, y1] = [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
  context.save();
  trace(context, plan, corners);
  context.clip();
  context.strokeStyle = on ? "rgba(240, 138, 120, 0.5)" : "rgba(240, 138, 120, 0.15)";
  context.lineWidth = 1;
  context.beginPath();
  for (let x = x0 - (y1 - y0); x < x1; x += 10) {
    context.moveTo(x, y1);
    context.lineTo(x + (y1 - y0), y0);
  }
  context.stroke();
  context.restore();
  trace(context, plan, corners);
  context.setLineDash(on ? [] : [3, 7]);
  context.lineWidth = 1.5;
  context.strokeStyle = COLOUR.noLight;
  context.stroke();
  context.setLineDash([]);
  plan.written.push(write(context, on ? `no light: ${name}` : `no light: ${name} (off)`, ...plan.toPixels(...centre(corners)), COLOUR.noLight));
}

function drawMark(context, plan, name, at) {
  const [x, y] = plan.toPixels(at[0], at[1]);
  context.strokeStyle = COLOUR.mark;
  cross(context, x, y);
  plan.written.push(write(context, name, x + 10, y - 10, COLOUR.mark, { weight: 700, align: "left" }));
}

export function cross(context, x, y) {
  context.lineWidth = 2;
  context.beginPath();
  context.moveTo(x - 6, y);
  context.lineTo(x + 6, y);
  context.moveTo(x, y - 6);
  context.lineTo(x, y + 6);
  context.stroke();
}
