// What stands still: floor, grid, risers, areas, marks, trusses. Drawn once per change of camera or scene.

import { grow, isPoint } from "./vectors.js";

const COLOUR = {
  grid: "rgba(214, 170, 124, 0.10)",
  gridStrong: "rgba(214, 170, 124, 0.24)",
  floor: "rgba(120, 86, 58, 0.10)",
  polygon: "#e8a24a",
  area: "#c9b48a",
  noLight: "#f07f86",
  riserTop: "rgba(150, 112, 80, 0.20)",
  riserSide: "rgba(96, 68, 46, 0.32)",
  riserEdge: "rgba(214, 170, 124, 0.55)",
  mark: "#f3e7d8",
  truss: "rgba(190, 160, 130, 0.42)",
  quiet: "#c4ae98",
};
const OPEN_TOP_M = 2.5; // how high an area is drawn that has no upper end

export function drawPlace(context, camera, scene, labels) {
  const pen = { context, camera, labels };
  drawFloor(pen, extent(scene));
  for (const floor of scene.floors ?? []) drawRiser(pen, floor);
  for (const area of scene.areas ?? []) drawArea(pen, area);
  if (scene.polygon?.corners?.length) drawPolygon(pen, scene.polygon);
  for (const area of scene.no_light ?? []) drawNoLight(pen, area);
  drawTrusses(pen, scene.heads ?? []);
  for (const [name, at] of Object.entries(scene.marks ?? {})) if (isPoint(at)) drawMark(pen, name, at);
}

// The plan rectangle that holds the stage, in whole metres.
export function extent(scene) {
  const points = [
    ...(scene.polygon?.corners ?? []),
    ...(scene.floors ?? []).flatMap((f) => f.corners),
    ...(scene.areas ?? []).flatMap((a) => a.corners),
    ...(scene.no_light ?? []).flatMap((a) => a.corners),
    ...Object.values(scene.marks ?? {}).filter(isPoint),
  ];
  if (!points.length) return [-6, -2, 6, 8];
  const [xs, ys] = [points.map((p) => p[0]), points.map((p) => p[1])];
  return [Math.floor(Math.min(...xs)) - 1, Math.floor(Math.min(...ys)) - 1,
    Math.ceil(Math.max(...xs)) + 1, Math.ceil(Math.max(...ys)) + 1];
}

// Where a head hangs: the venue calls it its position, the panel what it stands at.
const placeOf = (head) => head.position ?? head.at;

// Everything that should be in the picture when the whole stage is shown.
export function corners(scene) {
  const [x0, y0, x1, y1] = extent(scene);
  const heads = (scene.heads ?? []).map(placeOf).filter(isPoint);
  const tops = heads.map(([x, y, z]) => [x, y, z + 0.5]);
  return [[x0, y0, 0], [x1, y0, 0], [x0, y1, 0], [x1, y1, 0], [x0, y1, 2], [x1, y1, 2], ...heads, ...tops];
}

function trace(context, points, close = true) {
  context.beginPath();
  points.forEach(([x, y]) => context.lineTo(x, y));
  if (close) context.closePath();
}

function flat({ camera }, plan, z) {
  return camera.polygon(plan.map(([x, y]) => [x, y, z]));
}

function stroke({ context, camera }, a, b) {
  const ends = camera.line(a, b);
  if (!ends) return;
  trace(context, ends, false);
  context.stroke();
}

function drawFloor(pen, [x0, y0, x1, y1]) {
  const { context } = pen;
  trace(context, flat(pen, [[x0, y0], [x1, y0], [x1, y1], [x0, y1]], 0));
  context.fillStyle = COLOUR.floor;
  context.fill();
  context.lineWidth = 1;
  const style = (value) => {
    context.strokeStyle = value % 5 === 0 ? COLOUR.gridStrong : COLOUR.grid;
  };
  for (let x = x0; x <= x1; x += 1) {
    style(x);
    stroke(pen, [x, y0, 0], [x, y1, 0]);
  }
  for (let y = y0; y <= y1; y += 1) {
    style(y);
    stroke(pen, [x0, y, 0], [x1, y, 0]);
  }
  const word = (text, at) => {
    const p = pen.camera.project(at);
    if (p) pen.labels.write(text, p[0], p[1], { colour: COLOUR.quiet, size: 13, fixed: true });
  };
  word("audience", [(x0 + x1) / 2, y0 + 0.4, 0]);
  word("upstage", [(x0 + x1) / 2, y1 - 0.4, 0]);
}

function drawRiser(pen, { name, corners: plan, height }) {
  const { context, camera } = pen;
  context.lineWidth = 1;
  context.strokeStyle = COLOUR.riserEdge;
  plan.forEach((corner, i) => {
    const next = plan[(i + 1) % plan.length];
    trace(context, camera.polygon([[...corner, 0], [...next, 0], [...next, height], [...corner, height]]));
    context.fillStyle = COLOUR.riserSide;
    context.fill();
    context.stroke();
  });
  const top = flat(pen, plan, height);
  trace(context, top);
  context.fillStyle = COLOUR.riserTop;
  context.fill();
  context.stroke();
  nameArea(pen, `${name}, ${height > 0 ? "+" : ""}${+height.toFixed(2)} m`, top, COLOUR.quiet);
}

function drawArea(pen, { name, corners: plan, on }) {
  const { context } = pen;
  const edge = flat(pen, plan, 0.01);
  trace(context, edge);
  context.setLineDash(on ? [] : [3, 6]);
  context.lineWidth = 1.5;
  context.strokeStyle = COLOUR.area;
  context.stroke();
  context.setLineDash([]);
  nameArea(pen, on ? name : `${name} (switched off)`, edge, COLOUR.area);
}

function drawPolygon(pen, { corners: plan, margin }) {
  const { context, labels } = pen;
  const edge = flat(pen, plan, 0.01);
  trace(context, edge);
  context.fillStyle = "rgba(232, 162, 74, 0.05)";
  context.fill();
  context.lineWidth = 2.5;
  context.strokeStyle = COLOUR.polygon;
  context.stroke();
  if (margin > 0) {
    trace(context, flat(pen, grow(plan, margin), 0.01));
    context.setLineDash([2, 5]);
    context.lineWidth = 1;
    context.stroke();
    context.setLineDash([]);
  }
  const lowest = edge.reduce((best, p) => (p[1] - p[0] * 0.3 > best[1] - best[0] * 0.3 ? p : best), edge[0]);
  if (lowest) labels.write("performance polygon", lowest[0] + 74, lowest[1] + 14, { colour: COLOUR.polygon, fixed: true });
}

// A no-light area: a hatched box, so that it is told from all others without its colour.
function drawNoLight(pen, { name, corners: plan, height }) {
  const { context, camera } = pen;
  const low = height?.[0] ?? 0;
  const high = height?.[1] ?? low + OPEN_TOP_M;
  const base = flat(pen, plan, low);
  const top = flat(pen, plan, high);
  context.save();
  trace(context, base);
  context.fillStyle = "rgba(240, 127, 134, 0.07)";
  context.fill();
  context.clip();
  hatch(context, base);
  context.restore();
  context.strokeStyle = COLOUR.noLight;
  context.lineWidth = 1.5;
  trace(context, base);
  context.stroke();
  context.globalAlpha = 0.6;
  context.lineWidth = 1;
  for (const corner of plan) stroke(pen, [...corner, low], [...corner, high]);
  trace(context, top);
  if (height?.[1] === null || height?.[1] === undefined) context.setLineDash([4, 5]);
  context.stroke();
  context.setLineDash([]);
  context.globalAlpha = 1;
  nameArea(pen, `no light: ${name}`, camera.depth || camera.pitch < 1 ? top : base, COLOUR.noLight);
}

function hatch(context, points) {
  const xs = points.map((p) => p[0]);
  const ys = points.map((p) => p[1]);
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)].map(bounded);
  context.beginPath();
  for (let x = x0 - (y1 - y0); x < x1; x += 11) {
    context.moveTo(x, y1);
    context.lineTo(x + (y1 - y0), y0);
  }
  context.strokeStyle = "rgba(240, 127, 134, 0.34)";
  context.lineWidth = 1;
  context.stroke();
}

const bounded = (value) => Math.max(-4000, Math.min(8000, value));

function nameArea({ labels }, text, points, colour) {
  if (points.length < 3) return;
  const x = points.reduce((sum, p) => sum + p[0], 0) / points.length;
  const y = points.reduce((sum, p) => sum + p[1], 0) / points.length;
  labels.write(text, x, y, { colour, gap: 2 });
}

function drawTrusses(pen, heads) {
  const rows = new Map();
  for (const head of heads) {
    if (!head.truss || !isPoint(placeOf(head))) continue;
    rows.set(head.truss, [...(rows.get(head.truss) ?? []), head]);
  }
  pen.context.strokeStyle = COLOUR.truss;
  pen.context.lineWidth = 3;
  for (const [name, row] of rows) {
    const bars = row.map((head) => placeOf(head).map((v, i) => v + (head.up?.[i] ?? 0) * 0.35));
    const spreads = [0, 1, 2].map((i) => Math.max(...bars.map((b) => b[i])) - Math.min(...bars.map((b) => b[i])));
    const main = spreads.indexOf(Math.max(...spreads));
    bars.sort((a, b) => a[main] - b[main]);
    for (let i = 1; i < bars.length; i += 1) stroke(pen, bars[i - 1], bars[i]);
    const end = pen.camera.project(bars[0]);
    if (end) pen.labels.write(name, end[0], end[1], { colour: COLOUR.quiet, gap: 12 });
  }
}

function drawMark(pen, name, at) {
  const { context, camera, labels } = pen;
  context.strokeStyle = COLOUR.mark;
  context.lineWidth = 2;
  stroke(pen, [at[0] - 0.14, at[1], at[2]], [at[0] + 0.14, at[1], at[2]]);
  stroke(pen, [at[0], at[1] - 0.14, at[2]], [at[0], at[1] + 0.14, at[2]]);
  const p = camera.project(at);
  if (p) labels.write(name, p[0], p[1], { weight: 700, size: 14, gap: 6 });
}
