// Heads and targets that lie outside of the picture: an arrow at its edge towards each, near ones as one arrow with their names or number.

import { COLOUR } from "./colours.js";
import { seen } from "./planlive.js";

const EDGE_PX = 12;
const NEAR_PX = 22;
const ARROW_PX = 8;

export function drawOutside(context, view, scene, frame, labels) {
  const rows = scene.heads.map(({ name, truss, at }, i) => ({ name, truss, at, lit: frame.heads[i].level > 0.003, desk: frame.heads[i].state === "desk" }));
  const away = rows.flatMap((row) => {
    const p = row.at && view.project(row.at);
    return p && !seen(view, p, 8) ? [{ ...row, ...edgeOf(view, p) }] : [];
  });
  for (const group of groups(away)) drawGroup(context, view, group, labels);
  for (const target of frame.targets) {
    const p = target.age >= 0 && view.project([target.x, target.y, 0]);
    if (!p || seen(view, p)) continue;
    const { at, angle } = edgeOf(view, p);
    arrow(context, at, angle, COLOUR.target, 12);
    labels.write(target.name, ...at, { colour: COLOUR.target, weight: 650, gap: 16, always: true });
  }
}

// Where the line from the middle of the picture to `p` leaves it, and its direction.
function edgeOf({ width, height }, [x, y]) {
  const [cx, cy] = [width / 2, height / 2];
  const [dx, dy] = [x - cx, y - cy];
  const k = Math.min((cx - EDGE_PX) / Math.max(Math.abs(dx), 1e-6), (cy - EDGE_PX) / Math.max(Math.abs(dy), 1e-6));
  return { at: [cx + dx * k, cy + dy * k], angle: Math.atan2(dy, dx) };
}

function groups(rows) {
  const found = [];
  for (const row of [...rows].sort((a, b) => a.angle - b.angle)) {
    const last = found[found.length - 1];
    const before = last?.[last.length - 1];
    if (before && Math.hypot(row.at[0] - before.at[0], row.at[1] - before.at[1]) < NEAR_PX) last.push(row);
    else found.push([row]);
  }
  return found;
}

function drawGroup(context, view, group, labels) {
  const middle = group[Math.floor(group.length / 2)];
  const lit = group.filter((row) => row.lit).length;
  arrow(context, middle.at, middle.angle, COLOUR.head, 8);
  labels.taken.push(middle.at.map((value) => value - ARROW_PX).concat(middle.at.map((value) => value + ARROW_PX)));
  const truss = group.every((row) => row.truss && row.truss === group[0].truss) ? `${group[0].truss}, ` : "";
  const desk = group.filter((row) => row.desk).length;
  const short = `${truss}${group.length} heads, ${lit} lit${desk ? `, ${desk} the desk's` : ""}`;
  const text = group.length === 1 ? `${middle.name}${desk ? " desk's, not guarded" : lit ? " lit" : ""}` : group.length < 3 ? group.map((row) => row.name).join(", ") : short;
  labels.write(text, ...middle.at, { colour: COLOUR.head, size: 12, gap: 12 });
}

function arrow(context, [x, y], angle, colour, size) {
  context.save();
  context.translate(x, y);
  context.rotate(angle);
  context.beginPath();
  context.moveTo(size, 0);
  context.lineTo(-size * 0.6, size * 0.8);
  context.lineTo(-size * 0.6, -size * 0.8);
  context.closePath();
  context.fillStyle = colour;
  context.fill();
  context.restore();
}
