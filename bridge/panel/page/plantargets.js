// The targets: each with its name, where it has been for six seconds, the point ahead where it is led, and whose hand is on it.

import { COLOUR } from "./colours.js";
import { heightAt } from "./planfloor.js";
import { line } from "./planlive.js";

const RING_PX = 13;
const TRAIL_STEP_PX = 2;
const AHEAD_PX = 6; // nearer it is not told from the target itself

// `chosen`: the target this page steers; `hand(name)`: "me", another's name or "".
export function drawTargets(context, view, { scene, frame, store, floors, labels, chosen }) {
  for (const target of frame.targets) if (target.age >= 0) drawTrail(context, view, store, floors, target, frame.t, target.name === chosen);
  for (const target of frame.targets) {
    if (target.age < 0) continue;
    drawTarget(context, view, { target, floors, labels, ours: target.name === chosen, hand: store.hand(target.name), tracker: store.tracker(target.name), several: scene.targets.length > 1 });
  }
}

function drawTrail(context, view, store, floors, target, now, ours) {
  const trail = store.trails.get(target.name) ?? [];
  context.strokeStyle = COLOUR.trail;
  context.lineWidth = ours ? 2.5 : 1.5;
  let last = null;
  for (const { t, x, y } of trail) {
    const p = view.project([x, y, heightAt(floors, x, y)]);
    if (!p) continue;
    if (last && Math.hypot(p[0] - last[0], p[1] - last[1]) < TRAIL_STEP_PX) continue;
    if (last) {
      context.globalAlpha = Math.max(0.06, (ours ? 0.8 : 0.45) * (1 - (now - t) / 6));
      line(context, last, p);
    }
    last = p;
  }
  context.globalAlpha = 1;
}

function drawTarget(context, view, { target, floors, labels, ours, hand, tracker, several }) {
  const z = heightAt(floors, target.x, target.y);
  const foot = view.project([target.x, target.y, z]);
  if (!foot) return;
  const colour = ours ? COLOUR.target : COLOUR.quiet;
  const top = view.flat ? null : view.project([target.x, target.y, Math.max(target.z, z)]);
  if (top) stand(context, foot, top, colour);
  const ahead = target.ahead && view.project([target.ahead[0], target.ahead[1], heightAt(floors, target.ahead[0], target.ahead[1])]);
  if (ahead) {
    drawAhead(context, foot, ahead, colour);
    labels.taken.push([ahead[0] - 7, ahead[1] - 7, ahead[0] + 7, ahead[1] + 7]);
  }
  ring(context, foot, colour, ours, target.inside);
  labels.taken.push(foot.map((value) => value - RING_PX).concat(foot.map((value) => value + RING_PX)));
  const whose = hand === "me" ? "your hand" : tracker ? `${several ? "" : "tracked "}by ${tracker}` : hand ? `${hand}'s hand` : "";
  const words = [several || !whose ? target.name : "", target.inside ? "" : "outside", whose].filter(Boolean).join(", ");
  labels.write(words, ...foot, { colour: hand && hand !== "me" ? COLOUR.hand : colour, weight: 650, size: 14, gap: RING_PX + 8, always: true });
}

// A ring with four ticks; broken where the target is outside of every area.
function ring(context, [x, y], colour, ours, within) {
  const r = ours ? RING_PX : RING_PX - 4;
  for (const [width, style] of [[ours ? 6 : 4, "rgba(12, 13, 11, 0.8)"], [ours ? 3 : 2, colour]]) {
    context.lineWidth = width;
    context.strokeStyle = style;
    context.setLineDash(within ? [] : [5, 5]);
    context.beginPath();
    context.arc(x, y, r, 0, 2 * Math.PI);
    context.stroke();
    context.setLineDash([]);
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      line(context, [x + dx * (r - 4), y + dy * (r - 4)], [x + dx * (r + 7), y + dy * (r + 7)]);
    }
  }
}

// How tall the light stands at the target: an upright line, seen only from the seat.
function stand(context, foot, top, colour) {
  context.strokeStyle = colour;
  context.lineWidth = 3;
  line(context, foot, top);
  context.beginPath();
  context.arc(...top, 4, 0, 2 * Math.PI);
  context.fillStyle = colour;
  context.fill();
}

function drawAhead(context, from, to, colour) {
  if (Math.hypot(to[0] - from[0], to[1] - from[1]) < AHEAD_PX) return;
  context.strokeStyle = colour;
  context.lineWidth = 2;
  context.setLineDash([4, 4]);
  line(context, from, to);
  context.setLineDash([]);
  const [x, y] = to;
  line(context, [x - 5, y - 5], [x + 5, y + 5]);
  line(context, [x - 5, y + 5], [x + 5, y - 5]);
}
