// What moves: heads, their beams and pools as they are sent. The same for the stage from above and from the seat: a view
// has `project([x, y, z])` -> [px, py] or null, `width` and `height`.

import { COLOUR } from "./colours.js";
import { across, distance, length, subtract, unit } from "./vectors.js";

const ROUND = 28; // corners of a pool's edge
const SEEN = 0.003; // of level: less gives no light
const COARSE = 3; // pixels of the screen for one of light
const FEW = 16; // pools whose edges are drawn; with more, light alone tells more
const FARTHEST = 2.5;
const UNKNOWN_M = 0.5; // radius of a beam whose target is not known
const CIRCLE = Array.from({ length: ROUND }, (_, k) => [Math.cos((2 * Math.PI * k) / ROUND), Math.sin((2 * Math.PI * k) / ROUND)]);

// state -> [shape, word]; what is lit is filled
const SHAPES = {
  lit: "dot", limit: "dot", dark: "ring", held: "square", out: "cross", still: "bars", moving: "ring", sighting: "dot",
  unsolved: "query", "no-input": "ring", outside: "triangle", "out-of-reach": "triangle", "too-near": "triangle", "no-light": "triangle",
  desk: "diamond",
};

// Pools first, so that beams and heads lie over them.
export function drawBeams(context, view, scene, frame, chosen) {
  const rows = frame.heads.map((head, i) => ({ head, at: scene.heads[i].at })).filter(({ head, at }) => head.hit && at);
  drawPools(context, view, rows.filter(({ head }) => head.level > SEEN), chosen);
  context.lineWidth = 1;
  context.strokeStyle = COLOUR.beam;
  for (const { head, at } of rows) {
    const [from, to] = [view.project(at), view.project(head.hit)];
    if (!from || !to || !seen(view, from)) continue;
    context.globalAlpha = head.level > SEEN ? 0.25 + 0.45 * head.level : 0.12;
    context.setLineDash(head.level > SEEN ? [] : [2, 5]);
    line(context, from, to);
  }
  context.setLineDash([]);
  context.globalAlpha = 1;
}

export const seen = (view, [x, y], out = 0) => x >= -out && y >= -out && x <= view.width + out && y <= view.height + out;

export function line(context, from, to) {
  context.beginPath();
  context.moveTo(...from);
  context.lineTo(...to);
  context.stroke();
}

// The edge of a pool on the floor, metres: where the cone of the beam, `pool` metres in radius at the target, meets the
// level of the floor that its axis meets. What is flatter than the level ends at FARTHEST times the way to it.
export function poolEdge(at, { hit, pool, over }) {
  const way = subtract(hit, at);
  const reach = length(way);
  const axis = unit(way);
  const aimed = Math.max(0.1, over ? distance(at, over) : reach);
  const [first, second] = across(axis);
  const wide = (pool ?? UNKNOWN_M) / aimed;
  return CIRCLE.map(([c, s]) => {
    const ray = axis.map((value, i) => value + wide * (c * first[i] + s * second[i]));
    const t = (hit[2] - at[2]) / ray[2];
    const far = t > 0 && t < FARTHEST * reach ? t : FARTHEST * reach;
    return [at[0] + far * ray[0], at[1] + far * ray[1], hit[2]];
  });
}

// Light is soft: it is added up on a canvas of fewer pixels. Edges are drawn while there are few of them.
function drawPools(context, view, rows, chosen) {
  const pools = rows.flatMap(({ head, at }) => {
    const edge = poolEdge(at, head).map((point) => view.project(point));
    return edge.every(Boolean) ? [{ head, edge }] : [];
  });
  if (!pools.length) return;
  const glow = glowOf(view);
  const light = glow.getContext("2d");
  light.setTransform(1, 0, 0, 1, 0, 0);
  light.clearRect(0, 0, glow.width, glow.height);
  light.setTransform(1 / COARSE, 0, 0, 1 / COARSE, 0, 0);
  light.fillStyle = COLOUR.beam;
  for (const { head, edge } of pools) {
    light.globalAlpha = (0.02 + 0.07 * head.level) * Math.min(1, FEW / pools.length);
    trace(light, edge);
    light.fill();
  }
  context.drawImage(glow, 0, 0, glow.width * COARSE, glow.height * COARSE);
  context.strokeStyle = COLOUR.beam;
  for (const { head, edge } of pools.length > FEW ? [] : pools) {
    context.globalAlpha = (head.target === chosen ? 0.55 : 0.3) * (0.3 + 0.7 * head.level);
    context.lineWidth = head.target === chosen ? 1.5 : 1;
    trace(context, edge);
    context.stroke();
  }
  context.globalAlpha = 1;
}

function trace(context, points) {
  context.beginPath();
  for (const [x, y] of points) context.lineTo(x, y);
  context.closePath();
}

function glowOf(view) {
  const [width, height] = [Math.ceil(view.width / COARSE), Math.ceil(view.height / COARSE)];
  view.glow ??= document.createElement("canvas");
  if (view.glow.width !== width || view.glow.height !== height) Object.assign(view.glow, { width, height });
  return view.glow;
}

// Heads with their name and the word of their state, where there is room for both; names are never cut.
export function drawHeads(context, view, scene, frame, labels, chosen) {
  const rows = scene.heads.map(({ name, at }, i) => ({ name, head: frame.heads[i], p: at && view.project(at) }));
  const there = rows.filter(({ p }) => p && seen(view, p, 8));
  for (const { p: [x, y] } of there) labels.taken.push([x - 7, y - 7, x + 7, y + 7]);
  for (const { head, p } of there) {
    const ours = head.target === chosen;
    drawHead(context, SHAPES[head.state] ?? "ring", p, head.level > SEEN, ours ? COLOUR.head : COLOUR.quiet);
  }
  for (const { name, head, p } of there) {
    const colour = head.target === chosen ? COLOUR.head : COLOUR.quiet;
    const full = `${name} ${word(head)}`;
    if (!labels.write(full, ...p, { colour, size: 12 })) labels.write(name, ...p, { colour, size: 12 });
  }
}

// The state of a head; with its level where it gives less light than the word would let one think.
function word({ state, level }) {
  if (state === "desk") return "desk's, not guarded";
  return state === "lit" && level < 0.995 ? `lit ${Math.round(100 * level)} %` : state || "not heard";
}

export function drawHead(context, shape, [x, y], lit, colour) {
  const r = 6;
  context.lineWidth = 2;
  context.strokeStyle = colour;
  context.fillStyle = lit ? colour : COLOUR.ground;
  context.beginPath();
  if (shape === "square") context.rect(x - r, y - r, 2 * r, 2 * r);
  else if (shape === "triangle") {
    context.moveTo(x, y - r - 1);
    context.lineTo(x + r + 1, y + r);
    context.lineTo(x - r - 1, y + r);
    context.closePath();
  } else if (shape === "diamond") {
    for (const [dx, dy] of [[0, -1], [1, 0], [0, 1], [-1, 0]]) context.lineTo(x + (r + 2) * dx, y + (r + 2) * dy);
    context.closePath();
  } else if (shape === "cross") {
    for (const k of [-1, 1]) {
      context.moveTo(x - r, y - k * r);
      context.lineTo(x + r, y + k * r);
    }
  } else if (shape === "bars") {
    context.rect(x - r, y - r, r * 0.7, 2 * r);
    context.rect(x + r * 0.3, y - r, r * 0.7, 2 * r);
  } else context.arc(x, y, r, 0, 2 * Math.PI);
  if (shape === "query") context.setLineDash([3, 3]);
  context.fill();
  context.stroke();
  context.setLineDash([]);
}
