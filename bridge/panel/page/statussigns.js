// What each sign of the strip says, from what the page knows; and that none of them flickers.

export const LOST_MS = 350; // told within half a second, whatever the rate of the pictures
const INPUT_OLD_MS = 1000;
const BETTER_AFTER_MS = 300;
const SMALL_EVERY_MS = 250;
const NONE = ["none", ""];

// In the order of the strip. name of a sign -> (what the page knows) -> [shape, word, small].
// "none": nothing to be seen, and its place stays free.
export const SIGNS = {
  place: ({ target }) => place(target),
  input: ({ target }) => input(target),
  output: ({ frame, bridge }) => output(frame, bridge),
  armed: ({ bridge }) => (bridge.armed ? ["dot", "Armed"] : ["ring", "Not armed"]),
  bridge: ({ silentMs }) => (silentMs > LOST_MS ? ["cross", "Bridge lost"] : ["dot", "Bridge", milliseconds(silentMs)]),
  lock: ({ bridge }) => (bridge.locked ? ["square", "Locked"] : NONE),
  overruled: ({ frame }) => overruled(frame.universes),
  still: ({ bridge, frame }) => (bridge.still ? ["bar", "Still", stillWhat(frame.stills)] : NONE),
};

function place(target) {
  if (!target || target.age < 0) return ["ring", "Not set"];
  return target.inside ? ["dot", "Inside"] : ["triangle", "Outside"];
}

function input(target) {
  if (!target || target.age < 0) return ["ring", "No input"];
  return target.age > INPUT_OLD_MS ? ["triangle", "Input old", milliseconds(target.age)] : ["dot", "Input", milliseconds(target.age)];
}

function output(frame, bridge) {
  if (!bridge.armed) return ["ring", "Sends nothing"];
  const words = frame.universes.map((row) => row.word);
  if (words.length && words.every((word) => word === "refused")) return ["cross", "Refused"];
  if (words.includes("refused")) return ["triangle", "Part refused"];
  return words.includes("waiting") ? ["ring", "Waiting"] : ["dot", "Sending"];
}

function overruled(universes) {
  const over = universes.filter((row) => row.word === "overruled");
  if (!over.length) return NONE;
  const names = [...new Set(over.map((row) => row.other || "somebody"))];
  return ["triangle", "Overruled", `by ${names.join(", ")}`];
}

// All of an overruled output, for a sentence.
export function overruledBy(universes) {
  const over = universes.filter((row) => row.word === "overruled");
  return over.map((row) => `universe ${row.universe} by ${row.other || "somebody"} with priority ${row.priority}`).join(", ");
}

function stillWhat(stills = []) {
  const held = stills.filter((row) => row.who);
  if (held.some((row) => row.kind === "all")) return "all";
  return held.length === 1 ? held[0].name : held.length ? `${held.length} parts` : "";
}

export function milliseconds(ms) {
  if (!Number.isFinite(ms)) return "";
  return ms < 1000 ? `${Math.round(ms)} ms` : ms < 100000 ? `${(ms / 1000).toFixed(1)} s` : `${Math.round(ms / 60000)} min`;
}

const RANK = { none: 0, dot: 0, ring: 1, square: 2, bar: 2, triangle: 3, cross: 4 };

// Worse is shown at once, better only once it has been so for a while; small figures change four times a second.
export class Steady {
  constructor() {
    this.shown = null;
    this.betterSince = null;
    this.smallAt = -Infinity;
  }

  show([shape, word, small = ""], now) {
    const other = this.shown === null || shape !== this.shown[0] || word !== this.shown[1];
    if (!other) this.betterSince = null;
    else if (this.mayShow(shape, now)) {
      this.shown = [shape, word, small];
      this.betterSince = null;
      this.smallAt = now;
    }
    if (!other && now - this.smallAt >= SMALL_EVERY_MS) {
      this.shown[2] = small;
      this.smallAt = now;
    }
    return this.shown;
  }

  mayShow(shape, now) {
    if (this.shown === null || RANK[shape] >= RANK[this.shown[0]]) return true;
    this.betterSince ??= now;
    return now - this.betterSince >= BETTER_AFTER_MS;
  }
}
