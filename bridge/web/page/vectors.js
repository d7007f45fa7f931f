// Small vector helpers. Points are arrays: [x, y, z] in metres (stage frame) or [x, y] in pixels.

export const add = (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
export const subtract = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
export const scale = (a, k) => [a[0] * k, a[1] * k, a[2] * k];
export const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
export const length = (a) => Math.hypot(a[0], a[1], a[2]);
export const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
export const mix = (a, b, k) => a.map((value, i) => value + (b[i] - value) * k);
export const clamp = (value, low, high) => Math.min(high, Math.max(low, value));
export const isPoint = (p) => Array.isArray(p) && p.length >= 3 && p.every((value) => Number.isFinite(value));

export function unit(a) {
  const size = length(a);
  return size > 1e-9 ? scale(a, 1 / size) : [0, 0, -1];
}

// Two unit vectors that span the plane across direction d.
export function across(d) {
  const helper = Math.abs(d[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0];
  const first = unit(cross(d, helper));
  return [first, cross(d, first)];
}

// The point of the ray from `start` along unit `dir` that is nearest to `point`.
export function nearestOnRay(start, dir, point) {
  const along = Math.max(0, dot(subtract(point, start), dir));
  return add(start, scale(dir, along));
}

// Convex hull of pixels, anticlockwise (monotone chain).
export function hull(points) {
  const sorted = [...points].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  if (sorted.length < 3) return sorted;
  const turn = (o, a, b) => (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);
  const half = (list) => {
    const chain = [];
    for (const p of list) {
      while (chain.length >= 2 && turn(chain[chain.length - 2], chain[chain.length - 1], p) <= 0) chain.pop();
      chain.push(p);
    }
    chain.pop();
    return chain;
  };
  return [...half(sorted), ...half(sorted.reverse())];
}

const ARC = 6; // steps round a corner

// The plan points that are `by` metres outside a polygon: its edges pushed outwards, joined by arcs round its corners.
export function grow(corners, by) {
  const count = corners.length;
  let area = 0;
  corners.forEach(([x, y], i) => {
    const [nx, ny] = corners[(i + 1) % count];
    area += x * ny - nx * y;
  });
  const ring = area >= 0 ? corners : [...corners].reverse();
  return ring.flatMap((corner, i) => {
    const first = outward(ring[(i + count - 1) % count], corner);
    const turn = bend(first, outward(corner, ring[(i + 1) % count]));
    if (turn <= 0) { // a corner that points inwards has no arc: the two pushed edges cross
      const reach = by / Math.cos(turn / 2);
      return [[corner[0] + reach * Math.cos(first + turn / 2), corner[1] + reach * Math.sin(first + turn / 2)]];
    }
    return Array.from({ length: ARC + 1 }, (_, k) => {
      const angle = first + (turn * k) / ARC;
      return [corner[0] + by * Math.cos(angle), corner[1] + by * Math.sin(angle)];
    });
  });
}

// Direction that points away from the polygon, for an edge with the polygon on its left.
const outward = (a, b) => Math.atan2(a[0] - b[0], b[1] - a[1]);

// From one direction to another the short way, -pi to pi.
function bend(from, to) {
  return Math.atan2(Math.sin(to - from), Math.cos(to - from));
}
