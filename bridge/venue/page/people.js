// The performers and where they have been.

import { isPoint } from "./vectors.js";

const TRAIL_S = 9;
const LEAP_M = 1.5; // between two frames this is a leap to another place: no line joins it
const TALL_M = 1.75;

export class Trails {
  constructor() {
    this.byName = new Map();
  }

  note(frame) {
    for (const person of frame.performers ?? []) {
      if (!isPoint(person.at)) continue;
      const list = this.byName.get(person.name) ?? [];
      if (list.length && frame.t < list[list.length - 1].t) list.length = 0; // the venue began again
      list.push({ t: frame.t, at: person.at });
      while (list.length && list[0].t < frame.t - TRAIL_S) list.shift();
      this.byName.set(person.name, list);
    }
  }

  clear() {
    this.byName.clear();
  }
}

export function drawTrails(context, camera, trails) {
  context.lineCap = "round";
  for (const list of trails.byName.values()) {
    const newest = list.length ? list[list.length - 1].t : 0;
    for (let i = 1; i < list.length; i += 1) {
      const [a, b] = [list[i - 1].at, list[i].at];
      if (Math.hypot(b[0] - a[0], b[1] - a[1]) > LEAP_M) continue;
      const ends = camera.line(above(a), above(b));
      if (!ends) continue;
      const freshness = 1 - (newest - list[i].t) / TRAIL_S;
      context.strokeStyle = `rgba(255, 150, 84, ${0.08 + 0.8 * freshness * freshness})`;
      context.lineWidth = 1 + 2.5 * freshness;
      context.beginPath();
      context.moveTo(...ends[0]);
      context.lineTo(...ends[1]);
      context.stroke();
    }
  }
}

const above = (feet) => [feet[0], feet[1], feet[2] + 0.01];

export function drawPerson(context, camera, person, labels) {
  if (!isPoint(person.at)) return;
  const feet = above(person.at);
  const tall = feet[2] + TALL_M;
  const k = camera.scaleAt(feet);
  const line = camera.line(feet, [feet[0], feet[1], tall - 0.4]);
  const head = camera.project([feet[0], feet[1], tall - 0.1]);
  if (!line || !head) return;
  const colour = person.inside === false ? "#ffb3a4" : "#fff6e8";
  ring(context, camera, feet, colour, person.inside === false);
  context.lineCap = "round";
  for (const [style, extra] of [["rgba(16, 11, 8, 0.9)", 4], [colour, 0]]) {
    context.strokeStyle = context.fillStyle = style;
    context.lineWidth = Math.max(4, 0.22 * k) + extra;
    context.beginPath();
    context.moveTo(...line[0]);
    context.lineTo(...line[1]);
    context.stroke();
    context.beginPath();
    context.arc(head[0], head[1], Math.max(4, 0.14 * k) + extra / 2, 0, 2 * Math.PI);
    context.fill();
  }
  const name = person.inside === false ? `${person.name}: outside` : person.name;
  labels.write(name, ...head, { colour, weight: 700, size: 15, gap: 6 + Math.max(4, 0.14 * k), always: true });
}

function ring(context, camera, feet, colour, dashed) {
  const points = Array.from({ length: 25 }, (_, i) => [
    feet[0] + 0.42 * Math.cos((i * Math.PI) / 12), feet[1] + 0.42 * Math.sin((i * Math.PI) / 12), feet[2]]);
  context.strokeStyle = colour;
  context.lineWidth = 1.5;
  context.setLineDash(dashed ? [5, 4] : []);
  context.beginPath();
  camera.polygon(points).forEach(([x, y]) => context.lineTo(x, y));
  context.stroke();
  context.setLineDash([]);
}
