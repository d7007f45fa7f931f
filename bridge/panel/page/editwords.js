// The editor's words for the kinds of things of a stage.

export const GROUPS = [
  ["marks", "Marks"],
  ["tapes", "Tapes"],
  ["areas", "Areas"],
  ["floors", "Floors"],
  ["no_light", "No-light areas"],
  ["seat", "Seat"],
];
export const KINDS_OF = { areas: ["performance_polygon", "more_areas"], marks: ["marks", "datum"] };
export const TITLE = {
  performance_polygon: "Performance polygon",
  marks: "Mark",
  tapes: "Tape",
  more_areas: "Area, joined to the polygon",
  floors: "Floor",
  no_light: "No-light area",
  datum: "Datum",
  seat: "Seat",
};
export const ADD = { marks: "Add a mark", tapes: "Add a tape", areas: "Add an area", floors: "Add a floor", no_light: "Add a no-light area", seat: "Add the seat" };
export const STEM = { marks: "M", more_areas: "area-", floors: "floor-", no_light: "dark-" };

export const groupOf = (kind) => Object.keys(KINDS_OF).find((group) => KINDS_OF[group].includes(kind)) ?? kind;
export const kindOf = (group) => (group === "areas" ? "more_areas" : group);

export function titleOf(item) {
  if (item.kind === "tapes") return `${item.between[0] || "?"} – ${item.between[1] || "?"}`;
  return item.name || TITLE[item.kind];
}

export const counted = (number, word) => `${number} ${word}${number === 1 ? "" : "s"}`;
