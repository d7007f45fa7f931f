// The heads themselves, the edges of their pools, the marker of a beam that is too far off, and the believed beams.

import { beamEnd, rimOf } from "./light.js";
import { GRADES, centimetres, drawShape, grade } from "./grades.js";
import { add, distance, isPoint, scale, unit } from "./vectors.js";

export const BELIEVED = "#8fd6cf";
const NOWHERE_M = 26;
const LABELLED = 5; // believed beams that get a label: the chosen one and the farthest off

export function drawHeads(context, camera, scene, frame, chosen) {
  scene.heads.forEach((still, i) => {
    const head = frame?.heads?.[i];
    const at = camera.project(still.position);
    if (!at) return;
    const k = Math.max(16, Math.min(60, camera.scaleAt(still.position)));
    const up = camera.project(add(still.position, scale(still.up ?? [0, 0, 1], 0.35)));
    const bright = (head?.level ?? 0) > 0.01;
    context.lineCap = "round";
    context.lineWidth = Math.max(2, 0.08 * k);
    context.strokeStyle = "#9c8168";
    if (up) path(context, [at, up]);
    if (isPoint(head?.dir)) {
      const nose = camera.project(add(still.position, scale(unit(head.dir), 0.32)));
      context.lineWidth = Math.max(4, 0.2 * k);
      context.strokeStyle = bright ? "#ffe3b8" : "#7a6350";
      if (nose) path(context, [at, nose]);
    }
    context.beginPath();
    context.arc(at[0], at[1], Math.max(3, 0.13 * k), 0, 2 * Math.PI);
    context.fillStyle = bright ? "#fff0d6" : "#5d4a3b";
    context.fill();
    context.lineWidth = 1.5;
    context.strokeStyle = "#20160f";
    context.stroke();
    if (chosen === i) {
      context.beginPath();
      context.arc(at[0], at[1], Math.max(10, 0.3 * k), 0, 2 * Math.PI);
      context.strokeStyle = "#ffffff";
      context.lineWidth = 2;
      context.stroke();
    }
  });
}

function path(context, points, close = false) {
  context.beginPath();
  points.forEach(([x, y]) => context.lineTo(x, y));
  if (close) context.closePath();
  context.stroke();
}

// The edge of each pool, thin; of the chosen head and of beams too far off, strong.
export function drawPoolEdges(context, camera, frame, chosen) {
  frame.heads.forEach((head, i) => {
    if (!head.ellipse || !(head.level > 0.01)) return;
    const mark = grade(head);
    context.lineWidth = chosen === i ? 2.5 : mark === "off" ? 1.8 : 1;
    context.strokeStyle = chosen === i ? "#ffffff" : mark === "off" ? GRADES.off.colour : "rgba(255, 226, 184, 0.28)";
    const edge = camera.polygon(rimOf(beamEnd(head)));
    if (edge.length > 2) path(context, edge, true);
  });
}

// The chosen head's beam axis, and shape, word and number where beams are too far off or one is chosen.
export function drawFindings(context, camera, scene, frame, chosen, labels) {
  const order = frame.heads.map((head, i) => [head, i]).sort((a, b) => (b[0].error_m ?? 0) - (a[0].error_m ?? 0));
  order.sort((a, b) => (b[1] === chosen) - (a[1] === chosen));
  for (const [head, i] of order) {
    const mark = grade(head);
    if (mark !== "off" && chosen !== i) continue;
    if (!isPoint(head.start) || !isPoint(head.dir)) continue;
    const end = beamEnd(head).centre;
    const axis = camera.line(head.start, end);
    if (!axis) continue;
    if (chosen === i) {
      context.lineWidth = 1.5;
      context.strokeStyle = "rgba(255, 255, 255, 0.9)";
      path(context, axis);
    }
    const [x, y] = axis[1];
    drawShape(context, mark, x, y, 8);
    const value = mark === "dark" || mark === "lit" ? GRADES[mark].word : `${centimetres(head.error_m)}${mark === "off" ? `, ${GRADES.off.word}` : ""}`;
    labels.write(`${scene.heads[i]?.name ?? ""} ${value}`, x, y, { colour: GRADES[mark].colour, weight: 700, size: 14, gap: 9 });
  }
}

// How far the believed beam lands from the true one, in metres, or null.
export function beliefOffset(head) {
  const believed = head.solved?.hit;
  return isPoint(believed) && isPoint(head.hit) ? distance(believed, head.hit) : null;
}

// Where the solved poses believe the beams are: dashed, beside the truth. Returns [metres apart, head, x, y], the chosen
// head first, then the farthest off.
export function drawBelieved(context, camera, scene, frame, chosen) {
  const offsets = [];
  const faint = Math.max(0.35, Math.min(0.8, 10 / frame.heads.length));
  frame.heads.forEach((head, i) => {
    const solved = head.solved;
    if (!solved || !isPoint(solved.dir) || !isPoint(head.start) || !(head.level > 0.01)) return;
    const end = isPoint(solved.hit) ? solved.hit : add(head.start, scale(unit(solved.dir), NOWHERE_M));
    const axis = camera.line(head.start, end);
    if (!axis) return;
    context.strokeStyle = BELIEVED;
    context.globalAlpha = chosen < 0 ? faint : chosen === i ? 1 : 0.25;
    context.lineWidth = chosen === i ? 2.5 : 1.3;
    context.setLineDash([9, 7]);
    path(context, axis);
    context.setLineDash([]);
    const truth = isPoint(head.hit) ? camera.project(head.hit) : null;
    const [x, y] = axis[1];
    context.globalAlpha = Math.min(1, 1.6 * context.globalAlpha);
    if (truth) {
      context.lineWidth = 2;
      path(context, [truth, axis[1]]);
    }
    path(context, [[x - 4, y], [x, y - 5], [x + 4, y], [x, y + 5]], true);
    offsets.push([beliefOffset(head), i, x, y]);
  });
  context.globalAlpha = 1;
  offsets.sort((a, b) => (b[1] === chosen) - (a[1] === chosen) || (b[0] ?? 0) - (a[0] ?? 0));
  return offsets;
}

export function labelBelieved(scene, offsets, labels) {
  for (const [metres, i, x, y] of offsets.slice(0, LABELLED)) {
    if (metres === null) continue;
    labels.write(`${scene.heads[i]?.name ?? ""} believed ${centimetres(metres)} away`, x, y, { colour: BELIEVED, gap: 12 });
  }
}
