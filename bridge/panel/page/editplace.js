// Places of the stage as numbers: what is drawn of the items, what lies where, and which item a problem is about.

import { ALONE } from "./editdraft.js";
import { metres } from "./editunits.js";

export const SNAP_M = 0.05;
export const FINE_M = 0.01;
export const snap = (value, fine) => Number((Math.round(value / (fine ? FINE_M : SNAP_M)) * (fine ? FINE_M : SNAP_M)).toFixed(3));

// x and y of a corner or a place, or null where one of them is no length.
export function place(values) {
  const [x, y] = [metres(values?.[0]), metres(values?.[1])];
  return x === null || y === null ? null : [x, y];
}

// All three of a mark's place, or null.
export function place3(values) {
  const found = values?.map(metres);
  return found?.length === 3 && found.every((value) => value !== null) ? found : null;
}

export const corners = (item) => (item.corners ?? []).map(place);
export const isArea = (item) => Array.isArray(item.corners);

// The items as the scene that plan.js draws; what has no place yet is left out.
export function sceneOf(items, scene) {
  const areas = (kind) => items.filter((item) => item.kind === kind && corners(item).filter(Boolean).length > 2).map((item) => ({
    name: item.name, corners: corners(item).filter(Boolean), on: item.on !== false, height: kind === "floors" ? metres(item.height) ?? 0 : [null, null],
  }));
  const [polygon] = areas("performance_polygon");
  const marks = items.filter((item) => item.kind === "marks" && place(item.at)).map((item) => [item.name, { at: place(item.at), surveyed: true }]);
  return {
    ...scene,
    polygon: { ...scene.polygon, corners: polygon?.corners ?? scene.polygon.corners },
    areas: areas("more_areas"), no_light: areas("no_light"), floors: areas("floors"), marks: Object.fromEntries(marks),
  };
}

export function inside(points, x, y) {
  let found = false;
  points.forEach(([x1, y1], number) => {
    const [x2, y2] = points[(number + 1) % points.length];
    if (y1 > y !== y2 > y && x < ((x2 - x1) * (y - y1)) / (y2 - y1) + x1) found = !found;
  });
  return found;
}

export function surface(points) {
  return Math.abs(points.reduce((sum, [x, y], number) => {
    const [x2, y2] = points[(number + 1) % points.length];
    return sum + x * y2 - x2 * y;
  }, 0)) / 2;
}

// Where a tape's end is: a mark by its place in the form, or as solved; a head as the plot or its pose says.
export function endPlace(name, draft, scene) {
  const mark = draft.of("marks").find((item) => item.name === name);
  if (mark) return place3(mark.at) ?? scene.marks[name]?.at ?? null;
  return scene.heads.find((head) => head.name === name)?.at ?? null;
}

// What a problem of the panel (`where`: marks.A.at.2) is about: {item, field}, item null for the file itself.
export function about(where, items) {
  let best = { item: null, field: "", length: -1 };
  for (const item of items) {
    for (const prefix of prefixes(item, items)) {
      const nearer = prefix.length - best.length + (item.was === null ? 0.5 : 0); // of two alike the new one is meant
      if ((where === prefix || where.startsWith(`${prefix}.`)) && nearer > 0) best = { item, field: where.slice(prefix.length + 1), length: prefix.length };
    }
  }
  return { item: best.item, field: /^\d+$/.test(best.field) ? `at.${best.field}` : best.field }; // a bare place [x, y, z]
}

function prefixes(item, items) {
  if (ALONE.includes(item.kind)) return [item.kind];
  const number = items.filter((other) => other.kind === item.kind).indexOf(item) + 1;
  const names = item.kind === "tapes" ? [item.between.join("/"), [...item.between].reverse().join("/")] : [item.name, item.was];
  return [...names.filter(Boolean), ...(item.kind === "marks" ? [] : [number])].map((name) => `${item.kind}.${name}`);
}
