// What a file would change, file by file, what is left out and what to know: lists to read, long ones folded.

import { el } from "./dom.js";

const SHOWN = 8; // of a list that is longer than FOLDS
const FOLDS = 12;
const ARROW = "→";

// `found` as the panel gives it. `done`: it has been taken over.
export function changesOf(found, done = false) {
  const { changes, counts } = found;
  const section = el("section", { "aria-label": done ? "Changed" : "Would change" }, el("h3", {}, `${done ? "Changed" : "Would change"} (${counts.changes})`));
  if (!changes.length) section.append(el("p", { class: "quiet" }, "Nothing would change."));
  for (const [file, rows] of byFile(changes)) {
    const profile = found.profiles.find((one) => one.file === file);
    section.append(el("div", { class: "i-file" }, el("h4", {}, `${file}: ${summed(rows)}`), folded(rows.map(changeRow), "i-changes"), profile ? profileFacts(profile) : null));
  }
  if (counts.changes > changes.length) section.append(el("p", { class: "quiet" }, `and ${counts.changes - changes.length} more that are not listed here`));
  return section;
}

// A list of sentences under a title; null where there is none.
export function sentences(title, texts, count, kind = "") {
  if (!texts.length) return null;
  const more = count - texts.length;
  return el("section", { "aria-label": title }, el("h3", {}, `${title} (${count})`),
    folded(texts.map((text) => el("li", {}, text)), `i-texts ${kind}`), more > 0 ? el("p", { class: "quiet" }, `and ${more} more`) : null);
}

export const skippedText = ({ what, why }) => `${what}: ${why}`;

// What stands in the show and would be another comes first: it is what a person has to look at.
function byFile(changes) {
  const files = new Map();
  for (const change of [...changes].sort((a, b) => isNew(a) - isNew(b))) files.set(change.file, [...(files.get(change.file) ?? []), change]);
  return files;
}

function summed(rows) {
  const added = rows.filter(isNew).length;
  const changed = rows.length - added;
  return [changed ? `${changed} changed` : "", added ? `${added} new` : ""].filter(Boolean).join(", ");
}

const nothing = (value) => value === null || value === undefined;
const isNew = ({ path, was, now }) => nothing(was) && (!path || (typeof now === "object" && !Array.isArray(now))); // a whole head or file

function changeRow(change) {
  const shape = el("span", { class: "shape", "aria-hidden": "true" });
  if (isNew(change)) {
    const more = typeof change.now === "object" ? facts(change.now, ["name"]) : "";
    return el("li", { "data-shape": "dot", class: "i-new" }, shape, el("div", {}, el("span", {}, change.text), more ? el("span", { class: "i-facts" }, more) : null));
  }
  return el("li", { "data-shape": "diamond", class: "i-other" }, shape, el("div", {}, el("span", { class: "i-path" }, change.path),
    el("span", { class: "i-values" }, el("span", { class: "i-was" }, words(change.was)), el("span", { "aria-hidden": "true" }, ARROW),
      el("span", { class: "unseen" }, "becomes"), el("span", { class: "i-now" }, words(change.now)))));
}

// A list whose end is folded where it is long.
function folded(rows, kind) {
  if (rows.length <= FOLDS) return el("ul", { class: kind }, ...rows);
  const rest = rows.slice(SHOWN);
  return el("div", {}, el("ul", { class: kind }, ...rows.slice(0, SHOWN)),
    el("details", {}, el("summary", {}, `Show the other ${rest.length}`), el("ul", { class: kind }, ...rest)));
}

function profileFacts(profile) {
  const rows = [
    ["From", [profile.from, profile.mode ? `mode ${profile.mode}` : ""].filter(Boolean).join(", ")],
    ["Slots", words(profile.footprint)],
    ["Channels", facts(profile.channels ?? {})],
    ...["pan", "tilt", "zoom", "fixed"].filter((key) => profile[key]).map((key) => [key[0].toUpperCase() + key.slice(1), facts(profile[key])]),
    ["Found out at first light", (profile.confirm ?? []).join(", ")],
  ].filter(([, value]) => value);
  const why = Object.entries(profile.why ?? {});
  return el("details", { class: "i-profile" }, el("summary", {}, "What this profile says, and why"),
    el("dl", {}, ...rows.flatMap(pair), ...why.flatMap(([path, reason]) => pair([`Why ${path}`, reason]))));
}

const pair = ([term, text]) => [el("dt", {}, term), el("dd", {}, String(text))];

function facts(data, without = []) {
  if (data === null || typeof data !== "object" || Array.isArray(data)) return words(data);
  return Object.entries(data).filter(([key]) => !without.includes(key)).map(([key, value]) => `${key} ${words(value)}`).join(", ");
}

function words(value) {
  if (nothing(value)) return "nothing";
  if (typeof value === "number") return String(Number(value.toFixed(4)));
  if (typeof value === "boolean") return value ? "on" : "off";
  if (Array.isArray(value)) return value.length > 40 ? `${value.length} values` : `[${value.map(words).join(", ")}]`;
  if (typeof value === "object") return `{${facts(value)}}`;
  return String(value);
}
