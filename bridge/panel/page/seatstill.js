// What stands still, as seen from the seat: floor and grid, floors with their sides, areas, no-light areas, marks.

import { COLOUR } from "./colours.js";
import { heightAt } from "./planfloor.js";
import { write } from "./planstill.js";

const GRID_M = 2; // of floor beyond the stage
const OPEN_TOP_M = 2.5; // how high a no-light area is drawn that has no upper end

export function drawSeatStill(context, seat, scene, frame) {
  seat.written = [];
  context.globalAlpha = 1;
  context.fillStyle = COLOUR.ground;
  context.fillRect(0, 0, seat.width, seat.height);
  const pen = { context, seat, camera: seat.camera };
  drawGrid(pen, scene);
  const far = ({ corners }) => Math.max(...corners.map(([x, y]) => Math.hypot(x - seat.eye[0], y - seat.eye[1])));
  for (const floor of [...seat.floors].sort((a, b) => far(b) - far(a))) drawFloor(pen, floor);
  for (const area of scene.areas) drawArea(pen, area, frame?.areas?.[area.name] ?? area.on);
  outline(pen, flat(scene.polygon.corners, 0), COLOUR.area, 3, "rgba(233, 180, 76, 0.05)");
  for (const area of scene.no_light) drawNoLight(pen, area, frame?.no_light?.[area.name] ?? area.on);
  for (const [name, { at }] of Object.entries(scene.marks)) if (at) drawMark(pen, name, [at[0], at[1], at[2] || heightAt(seat.floors, at[0], at[1])]);
}

const flat = (corners, z) => corners.map(([x, y]) => [x, y, z]);

function drawGrid({ context, camera }, scene) {
  const all = [scene.polygon, ...scene.areas, ...scene.floors].flatMap((area) => area.corners);
  const [[x0, x1], [y0, y1]] = [0, 1].map((i) => {
    const values = all.map((corner) => corner[i]);
    return [Math.floor(Math.min(...values)) - GRID_M, Math.ceil(Math.max(...values)) + GRID_M];
  });
  const line = (value, a, b) => {
    const ends = camera.line(a, b);
    if (!ends) return;
    context.strokeStyle = value % 5 === 0 ? COLOUR.gridStrong : COLOUR.grid;
    context.lineWidth = 1;
    context.beginPath();
    context.moveTo(...ends[0]);
    context.lineTo(...ends[1]);
    context.stroke();
  };
  for (let x = x0; x <= x1; x += 1) line(x, [x, y0, 0], [x, y1, 0]);
  for (let y = y0; y <= y1; y += 1) line(y, [x0, y, 0], [x1, y, 0]);
}

// Draw a polygon of the stage; returns its pixels.
function outline({ context, camera }, points, colour, width, fill = "", dash = []) {
  const pixels = camera.polygon(points);
  if (pixels.length < 3) return [];
  context.beginPath();
  pixels.forEach(([x, y]) => context.lineTo(x, y));
  context.closePath();
  if (fill) {
    context.fillStyle = fill;
    context.fill();
  }
  context.setLineDash(dash);
  context.lineWidth = width;
  context.strokeStyle = colour;
  context.stroke();
  context.setLineDash([]);
  return pixels;
}

function name({ context, seat }, text, pixels, colour) {
  if (!pixels.length) return;
  const [x, y] = [0, 1].map((i) => pixels.reduce((sum, p) => sum + p[i], 0) / pixels.length);
  seat.written.push(write(context, text, x, y, colour));
}

function drawFloor(pen, { name: word, corners, height }) {
  const sides = corners.map((corner, i) => [corner, corners[(i + 1) % corners.length]]);
  const [ex, ey] = pen.seat.eye;
  const away = ([a, b]) => -Math.hypot((a[0] + b[0]) / 2 - ex, (a[1] + b[1]) / 2 - ey);
  for (const [a, b] of sides.sort((one, two) => away(one) - away(two))) {
    outline(pen, [[...a, 0], [...b, 0], [...b, height], [...a, height]], COLOUR.floor, 1, "#181d19");
  }
  const top = outline(pen, flat(corners, height), COLOUR.floor, 1.5, "#1f2621");
  name(pen, `${word} ${height > 0 ? "+" : ""}${+height.toFixed(2)} m`, top, COLOUR.floor);
}

function drawArea(pen, { name: word, corners }, on) {
  name(pen, on ? word : `${word} (off)`, outline(pen, flat(corners, 0), COLOUR.more, 2, "", on ? [] : [3, 7]), COLOUR.more);
}

// A box with struck sides, so that it is told from every other area without its colour.
function drawNoLight(pen, { name: word, corners, height }, on) {
  const low = height?.[0] ?? 0;
  const high = height?.[1] ?? low + OPEN_TOP_M;
  const dash = on ? [] : [3, 7];
  const faint = on ? "rgba(240, 138, 120, 0.10)" : "";
  const base = outline(pen, flat(corners, low), COLOUR.noLight, 1.5, faint, dash);
  const text = on ? `no light: ${word}` : `no light: ${word} (off)`;
  if (![...flat(corners, low), ...flat(corners, high)].every((point) => within(pen, point))) return name(pen, text, base, COLOUR.noLight);
  corners.forEach((a, i) => {
    const b = corners[(i + 1) % corners.length];
    outline(pen, [[...a, low], [...b, low], [...b, high], [...a, high]], COLOUR.noLight, 1, "", dash);
    if (on) outline(pen, [[...a, low], [...b, high], [...a, low]], "rgba(240, 138, 120, 0.45)", 1);
  });
  return name(pen, text, outline(pen, flat(corners, high), COLOUR.noLight, 1.5, "", dash), COLOUR.noLight);
}

// Whether a point is not far outside of the picture: of a box that the seat is near to or in, only the floor is drawn.
function within({ seat, camera }, point) {
  const p = camera.project(point);
  return p && Math.abs(p[0] - seat.width / 2) < seat.width * 0.7 && Math.abs(p[1] - seat.height / 2) < seat.height * 0.7;
}

function drawMark({ context, seat, camera }, word, [x, y, z]) {
  for (const [a, b] of [[[x - 0.15, y, z], [x + 0.15, y, z]], [[x, y - 0.15, z], [x, y + 0.15, z]]]) {
    const ends = camera.line(a, b);
    if (!ends) return;
    context.strokeStyle = COLOUR.mark;
    context.lineWidth = 2;
    context.beginPath();
    context.moveTo(...ends[0]);
    context.lineTo(...ends[1]);
    context.stroke();
  }
  const [px, py] = camera.project([x, y, z]);
  seat.written.push(write(context, word, px + 9, py - 9, COLOUR.mark, { weight: 700, align: "left" }));
}
