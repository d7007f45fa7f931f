// Made-up persons at the editor: reads {stage, seed, count} on standard input, makes so many drafts by random hands, and
// writes for each the changes that it would save and the items that must then stand in the file.

import { readFileSync } from "node:fs";

const { page, stage, seed, count } = JSON.parse(readFileSync(0, "utf8"));
const { Draft, FIELDS } = await import(`${page}/editdraft.js`);

let state = seed;
const random = (most) => {
  state = (state * 1103515245 + 12345) % 2147483648;
  return Math.floor((state / 2147483648) * most);
};
const pick = (list) => list[random(list.length)];
const length = () => pick([random(400) / 20 - 10, `${random(900)} cm`, `${random(9)}' ${random(11)}"`, random(9)]);
const point = (size) => Array.from({ length: size }, length);

const HANDS = {
  move: (draft) => {
    const item = pick(draft.items.filter((one) => one.at || one.corners));
    if (item.at) item.at[random(item.at.length)] = length();
    else item.corners[random(item.corners.length)][random(2)] = length();
  },
  corner: (draft) => {
    const item = pick(draft.items.filter((one) => one.corners));
    if (random(2) && item.corners.length > 3) item.corners.splice(random(item.corners.length), 1);
    else item.corners.splice(random(item.corners.length + 1), 0, point(2));
  },
  rename: (draft) => draft.rename(pick(draft.items.filter((one) => one.name)), `new-${random(1000000)}`),
  remove: (draft) => {
    const item = pick(draft.items.filter((one) => one.kind !== "performance_polygon"));
    if (item) draft.remove(item);
  },
  survey: (draft) => {
    const item = pick(draft.of("marks"));
    if (item) Object.assign(item, { at: item.at ? null : point(3), height: null });
  },
  optional: (draft) => {
    const item = pick(draft.items.filter((one) => "sigma" in one));
    if (item) item.sigma = random(2) ? length() : null;
  },
  on: (draft) => {
    const item = pick(draft.items.filter((one) => "on" in one));
    if (item) item.on = !item.on;
  },
  mark: (draft) => draft.add("marks", { at: point(3), sigma: null, height: null }, `M${random(1000000)}`),
  area: (draft) => draft.add(pick(["more_areas", "no_light"]), { corners: [point(2), point(2), point(2)], height: pick([null, point(2)]), on: Boolean(random(2)) }, `area-${random(1000000)}`),
  floor: (draft) => draft.add("floors", { corners: [point(2), point(2), point(2)], height: length() }, `floor-${random(1000000)}`),
  tape: (draft) => draft.add("tapes", { between: [`X${random(1000000)}`, "foh-1"], metres: length(), sigma: null }),
};

const out = [];
for (let number = 0; number < count; number += 1) {
  const draft = new Draft();
  draft.read({ stage, digest: "" });
  const before = JSON.stringify(draft.items);
  for (let hand = random(9) + 1; hand > 0; hand -= 1) draft.change("", HANDS[pick(Object.keys(HANDS))]);
  const items = draft.items.map((item) => [item.kind, item.name, ...FIELDS[item.kind].map((field) => item[field] ?? null)]);
  const changes = draft.changes();
  while (draft.past.length) draft.undo();
  out.push({ changes, items, undone: JSON.stringify(draft.items) === before, unsaved: draft.unsaved });
}
process.stdout.write(JSON.stringify(out));
