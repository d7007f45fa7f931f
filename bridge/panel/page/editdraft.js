// What the editor changes: things of the stage as flat items, the file as it was read, undo, and the changes between them.
// An item: {key, kind, was, name, ...fields}. `was` is its name in the file (a tape: its number there), null if it is new.

export const KINDS = ["performance_polygon", "marks", "tapes", "more_areas", "floors", "no_light", "datum", "seat"];
export const FIELDS = {
  performance_polygon: ["corners", "height", "margin"],
  marks: ["at", "sigma", "height"],
  tapes: ["between", "metres", "sigma"],
  more_areas: ["corners", "height", "on"],
  no_light: ["corners", "height", "on"],
  floors: ["corners", "height"],
  datum: ["origin", "along_x"],
  seat: ["at"],
};
export const ALONE = ["performance_polygon", "datum", "seat"]; // of which there is one, without a name
const MOST_UNDO = 200;

export const clone = (value) => JSON.parse(JSON.stringify(value));
const same = (one, other) => JSON.stringify(one ?? null) === JSON.stringify(other ?? null);

// The items of a file, as the question `stage` tells it.
export function itemsOf(stage) {
  const items = [];
  for (const kind of KINDS) {
    const found = stage[kind];
    if (!found) continue;
    if (kind === "seat") items.push({ kind, was: "seat", name: "", at: found });
    else if (ALONE.includes(kind)) items.push({ kind, was: kind, name: "", ...found });
    else for (const { number, name, ...fields } of found) items.push({ kind, was: name ?? number, name: name ?? "", ...fields });
  }
  return items.map((item, number) => ({ key: number + 1, ...clone(item) }));
}

export class Draft {
  constructor() {
    Object.assign(this, { base: [], items: [], digest: "", past: [], future: [], problems: [], keys: 0, told: [], step: "" });
  }

  on(run) {
    this.told.push(run);
  }

  tell() {
    for (const run of this.told) run();
  }

  // The file as it is now; without `keep` it is what is shown, with it the unsaved changes are made in it.
  read({ stage, digest }, keep = false) {
    const base = itemsOf(stage);
    this.keys = Math.max(this.keys, base.length) + 1;
    this.items = keep ? this.rebased(base) : clone(base);
    Object.assign(this, { base, digest, past: [], future: [], problems: [], step: "" });
    this.tell();
  }

  get(key) {
    return this.items.find((item) => item.key === key) ?? null;
  }

  of(kind) {
    return this.items.filter((item) => item.kind === kind);
  }

  // One change by the hand. `step` names it: the same again (typing on, dragging on) is one step of undo.
  change(step, make) {
    if (!step || step !== this.step) {
      this.past.push(clone(this.items));
      if (this.past.length > MOST_UNDO) this.past.shift();
    }
    this.step = step;
    this.future = [];
    make(this);
    this.tell();
  }

  // The next change is a step of its own.
  settle() {
    this.step = "";
  }

  undo(from = this.past, to = this.future) {
    if (!from.length) return;
    to.push(clone(this.items));
    this.items = from.pop();
    this.step = "";
    this.tell();
  }

  redo() {
    this.undo(this.future, this.past);
  }

  add(kind, fields, name = "") {
    const item = { key: (this.keys += 1), kind, was: null, name, ...fields };
    this.items.push(item);
    return item;
  }

  freeName(kind, stem) {
    const taken = new Set(this.of(kind).map((item) => item.name));
    for (let number = 1; ; number += 1) {
      const name = kind === "marks" && number <= 26 ? String.fromCharCode(64 + number) : `${stem}${number}`;
      if (!taken.has(name)) return name;
    }
  }

  // Tapes and the datum name marks: they go with them.
  rename(item, name) {
    if (item.kind === "marks" && item.name) {
      for (const other of this.items) {
        if (other.kind === "tapes") other.between = other.between.map((end) => (end === item.name ? name : end));
        for (const end of other.kind === "datum" ? FIELDS.datum : []) if (other[end] === item.name) other[end] = name;
      }
    }
    item.name = name;
  }

  // What names a mark, and goes with it.
  users(item) {
    if (item.kind !== "marks") return [];
    return this.items.filter((other) => other.between?.includes(item.name) || [other.origin, other.along_x].includes(item.name));
  }

  remove(item) {
    const gone = [item, ...this.users(item)].map((one) => one.key);
    this.items = this.items.filter((other) => !gone.includes(other.key));
  }

  changed(item) {
    const old = this.base.find((one) => one.key === item.key);
    return !old || old.name !== item.name || FIELDS[item.kind].some((field) => !same(old[field], item[field]));
  }

  get gone() {
    return this.base.filter((old) => !this.get(old.key));
  }

  get unsaved() {
    return this.gone.length + this.items.filter((item) => this.changed(item)).length;
  }

  // The changes for `stage-save`: what goes, then names, then values, then what is new.
  changes() {
    const removed = [...this.gone].reverse().map((old) => ({ do: "remove", path: pathOf(old, old.was) }));
    const [renamed, set, added] = [[], [], []];
    for (const item of this.items) {
      const old = this.base.find((one) => one.key === item.key);
      if (!old) {
        added.push(...additions(item));
        continue;
      }
      if (old.name !== item.name) renamed.push({ do: "rename", path: pathOf(old, old.was), to: item.name });
      const path = item.kind === "tapes" ? ["tapes", String(this.of("tapes").indexOf(item) + 1)] : pathOf(item, item.name);
      for (const field of FIELDS[item.kind]) if (!same(old[field], item[field])) set.push(setting(item, [...path, ...step(item, field)], field));
    }
    return [...removed, ...renamed, ...set, ...added];
  }

  // My changes, made in what somebody else has left: what I did not touch is theirs.
  rebased(base) {
    const used = new Set();
    const known = (item) => `${item.kind}/${item.kind === "tapes" ? [...item.between].sort().join("/") : item.name}`;
    const mine = new Map(this.base.map((old) => [known(old), { old, now: this.get(old.key) }]));
    const items = [];
    for (const theirs of base) {
      const { old, now } = mine.get(known(theirs)) ?? {};
      if (old) used.add(old.key);
      if (old && !now) continue;
      const item = clone(theirs);
      if (now) {
        if (now.name !== old.name) item.name = now.name;
        for (const field of FIELDS[item.kind]) if (!same(old[field], now[field])) item[field] = clone(now[field] ?? null);
      }
      items.push(item);
    }
    const lost = (item) => !used.has(item.key) && this.changed(item);
    for (const item of this.items.filter(lost)) items.push({ ...clone(item), was: null, key: (this.keys += 1) });
    return items;
  }
}

const pathOf = (item, known) => (item.kind === "seat" ? ["seat"] : ALONE.includes(item.kind) ? [item.kind] : [item.kind, String(known)]);
const step = (item, field) => (item.kind === "seat" ? [] : [field]);

function setting(item, path, field) {
  const value = valueOf(item, field);
  return value === null ? { do: "remove", path } : { do: "set", path, value };
}

// A field as the file has it; null where it is not written.
function valueOf(item, field) {
  const value = item[field] ?? null;
  if (item.kind === "marks" && field === "at" && value === null) return "unknown";
  return Array.isArray(value) ? value.map((one) => one ?? "").map((one) => (Array.isArray(one) ? one.map((v) => v ?? "") : one)) : value;
}

function additions(item) {
  const value = {};
  for (const field of FIELDS[item.kind]) if (valueOf(item, field) !== null) value[field] = valueOf(item, field);
  if (item.kind === "seat") return [{ do: "add", path: ["seat"], value: valueOf(item, "at") }];
  if (item.kind === "datum") return [{ do: "add", path: ["datum"], value }];
  if (item.kind === "marks" && item.at && Object.keys(value).length === 1) return [{ do: "add", path: ["marks", item.name], value: value.at }];
  const { between, ...rest } = value;
  return [{ do: "add", path: [item.kind, between ? between.join("/") : item.name], value: between ? rest : value }];
}
