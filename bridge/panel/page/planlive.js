// What moves: heads, their beams and pools as they are sent. The same for the stage from above and from the seat: a view
// has `project([x, y, z])` -> [px, py] or null, `metre([x, y, z])` -> pixels per metre there, `width` and `height`.

import { COLOUR } from "./colours.js";

const ROUND = 32; // corners of a pool's edge
const SEEN = 0.003; // of level: less gives no light
const FLATTEST = 0.12; // sine of the flattest beam whose pool is drawn as long as it is
const CIRCLE = Array.from({ length: ROUND }, (_, k) => [Math.cos((2 * Math.PI * k) / ROUND), Math.sin((2 * Math.PI * k) / ROUND)]);

// state -> [shape, word]; what is lit is filled
const SHAPES = {
  lit: "dot", limit: "dot", dark: "ring", held: "square", out: "cross", still: "bars", moving: "ring", sighting: "dot",
  unsolved: "query", "no-input": "ring", outside: "triangle", "out-of-reach": "triangle", "too-near": "triangle", "no-light": "triangle",
};

// Pools first, so that beams and heads lie over them.
export function drawBeams(context, view, scene, frame, chosen) {
  frame.heads.forEach((head, i) => {
    if (head.level > SEEN && head.hit) drawPool(context, view, scene.heads[i].at, head, head.target === chosen);
  });
  context.lineWidth = 1;
  context.strokeStyle = COLOUR.beam;
  frame.heads.forEach((head, i) => {
    const { at } = scene.heads[i];
    if (!head.hit || !at) return;
    const [from, to] = [view.project(at), view.project(head.hit)];
    if (!from || !to || !seen(view, from)) return;
    context.globalAlpha = head.level > SEEN ? 0.25 + 0.45 * head.level : 0.12;
    context.setLineDash(head.level > SEEN ? [] : [2, 5]);
    line(context, from, to);
  });
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

// The edge of a pool on the floor, metres: a round beam lies there as an ellipse, longer the flatter it comes.
export function poolEdge(at, { hit, pool, over }) {
  const away = [hit[0] - at[0], hit[1] - at[1], hit[2] - at[2]];
  const reach = Math.hypot(...away);
  const aimed = over ? Math.hypot(over[0] - at[0], over[1] - at[1], over[2] - at[2]) : reach;
  const across = ((pool ?? 0.5) * reach) / Math.max(aimed, 0.1);
  const long = across / Math.max(FLATTEST, Math.abs(away[2]) / reach);
  const flat = Math.hypot(away[0], away[1]);
  const [ux, uy] = flat > 0.01 ? [away[0] / flat, away[1] / flat] : [1, 0];
  return CIRCLE.map(([c, s]) => [hit[0] + c * long * ux - s * across * uy, hit[1] + c * long * uy + s * across * ux, hit[2]]);
}

function drawPool(context, view, at, head, ours) {
  if (!at) return;
  const edge = poolEdge(at, head).map((point) => view.project(point));
  if (edge.some((point) => !point)) return;
  context.beginPath();
  edge.forEach(([x, y]) => context.lineTo(x, y));
  context.closePath();
  context.globalAlpha = 0.05 + 0.13 * head.level;
  context.fillStyle = COLOUR.beam;
  context.fill();
  context.globalAlpha = (ours ? 0.75 : 0.4) * (0.3 + 0.7 * head.level);
  context.lineWidth = ours ? 1.5 : 1;
  context.strokeStyle = COLOUR.beam;
  context.stroke();
  context.globalAlpha = 1;
}

// Heads with their name and the word of their state, where there is room for both; names are never cut.
export function drawHeads(context, view, scene, frame, labels, chosen) {
  const rows = scene.heads.map(({ name, at }, i) => ({ name, head: frame.heads[i], p: at && view.project(at) }));
  const there = rows.filter(({ p }) => p && seen(view, p, 8));
  for (const { head, p } of there) {
    const ours = head.target === chosen;
    drawHead(context, SHAPES[head.state] ?? "ring", p, head.level > SEEN, ours ? COLOUR.head : COLOUR.quiet);
  }
  for (const { name, head, p } of there) {
    const colour = head.target === chosen ? COLOUR.head : COLOUR.quiet;
    const full = `${name} ${head.state || "not heard"}`;
    if (!labels.write(full, ...p, { colour, size: 12 })) labels.write(name, ...p, { colour, size: 12 });
  }
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
