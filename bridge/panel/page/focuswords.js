// Sentences and tables of a focus session, from what the panel has solved. Metres in, centimetres out.

import { el } from "./dom.js";
import { big, cm } from "./focusyes.js";

const MOST_LINES = 4;
const rms = (values) => Math.sqrt(values.reduce((sum, value) => sum + value * value, 0) / values.length);

// How a sighting and its head fit: {lines, short, long, known: whether this sighting is among what was solved}.
export function fitOf(found, head, mark) {
  const solved = found?.solve?.fixtures?.[head];
  if (!solved) return { lines: [found?.solve?.unsolved?.[head] ?? "Not solved yet: it needs two marks and more."], short: "", long: "" };
  const entries = Object.entries(solved.residuals).map(([key, value]) => [key.replace(/\/2$/, " (face 2)"), value]);
  const all = entries.map(([, value]) => value);
  const here = entries.filter(([key]) => key.replace(" (face 2)", "") === mark).map(([key, value]) => `${key} fits within ${cm(value)}`);
  const count = all.length === 1 ? "its one sighting" : `all ${all.length} sightings`;
  const whole = all.length ? `${count} within ${cm(rms(all))} (rms)` : "no sightings of its own";
  const ahead = solved.aim_error.p95 === null ? "nothing can be predicted yet" : `predicted aim error ${cm(solved.aim_error.p95)}, at its worst place ${cm(solved.aim_error.worst_p95)}`;
  const words = { true: "trusted", false: "NOT trusted" }[solved.trusted];
  return {
    lines: [`${[...here, whole].join("; ")}.`, `${ahead[0].toUpperCase()}${ahead.slice(1)}; ${words}${solved.verified ? "" : ", unverified"}.`,
      entries.map(([key, value]) => `${key} ${cm(value)}`).join(", ")],
    known: here.length > 0,
    short: `${here[0] ?? whole}.`,
    long: `${[...here, whole].join("; ")}; ${ahead}.`,
  };
}

export const doubts = (found, head) => (found?.solve?.advice_by_fixture?.[head] ?? []).slice(0, MOST_LINES);

// What a solve had to say, heads that nobody has sighted in one line.
export function told(notes) {
  const waiting = notes.filter((note) => note.endsWith(": not sighted yet")).map((note) => note.split(":")[0]);
  const rest = notes.filter((note) => !note.endsWith(": not sighted yet"));
  return waiting.length ? [...rest, `Not sighted yet: ${waiting.join(", ")}`] : rest;
}

// "C: 21 cm -> 9 cm"
export function helpWords({ mark, at, before, after }) {
  const where = mark ?? `a new mark at ${at[0]}, ${at[1]}`;
  return after === null ? where : `${where}: ${cm(before)} → ${cm(after)}`;
}

// Before and after side by side, one row a head, the head in hand first.
export function comparison(rows, first) {
  const names = Object.keys(rows).sort((a, b) => (b === first) - (a === first));
  if (!names.length) return el("p", {}, "Nothing to compare yet.");
  const pair = ([before, after] = [null, null], words = cm) => `${before === null || before === undefined ? "–" : words(before)} → ${after === null || after === undefined ? "–" : words(after)}`;
  const trusted = (yes) => (yes ? "yes ✓" : "NO");
  const cells = (name) => {
    const row = rows[name];
    return [name, pair(row.rms), pair(row.p95), row.moved_cm === null ? "–" : `${row.moved_cm.toFixed(1)} cm`, pair(row.trusted, trusted)];
  };
  const head = ["Head", "Aim error, rms", "95 %", "Moved", "Trusted"];
  return el("div", { class: "f-scroll", tabindex: "0", role: "region", "aria-label": "Before and after, by head" },
    el("table", {},
      el("thead", {}, el("tr", {}, ...head.map((text) => el("th", { scope: "col" }, text)))),
      el("tbody", {}, ...names.map((name) => {
        const [own, ...rest] = cells(name);
        return el("tr", name === first ? { class: "f-own" } : {}, el("th", { scope: "row" }, own), ...rest.map((text) => el("td", {}, text)));
      }))));
}

// Heads whose new pose is not trusted, why, and a way to take it all the same.
export function untrustedList(found, heads, accept) {
  if (!heads.length) return [];
  return [
    el("h2", {}, "Not trusted, not taken"),
    ...heads.map(({ name }) => el("div", { class: "f-untrusted" },
      el("p", {}, el("strong", {}, name), ": ", doubts(found, name)[0]?.replace(`${name}: `, "") ?? "its pose in poses.yaml is marked as not trusted"),
      big("Take it anyway", () => accept(name), { "aria-label": `Take it anyway: ${name}` }))),
  ];
}
