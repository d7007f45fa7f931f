// The form of what is chosen: name, place, corners, height; and what belongs to each kind.

import { sure } from "./ask.js";
import { el, switchButton, write } from "./dom.js";
import { ALONE } from "./editdraft.js";
import { Fields } from "./editfields.js";
import { endPlace } from "./editplace.js";
import { metres, round } from "./editunits.js";
import { TITLE } from "./editwords.js";

const NAME = /^[A-Za-z0-9_-]+$/;
const AXES = ["x", "y", "z"];
const HINT = ["to the right", "upstage", "up"];

export class EditForm {
  constructor(editor) {
    Object.assign(this, { editor, built: "", fields: null });
    this.element = el("div", { class: "e-form" });
    editor.draft.on(() => this.refresh());
  }

  refresh() {
    const { item } = this.editor;
    const built = item ? [item.key, item.corners?.length, item.kind === "marks" && !item.at].join() : "none";
    if (built !== this.built) this.build(item);
    this.built = built;
    this.fields?.refresh();
    for (const run of this.also ?? []) run();
  }

  // Build anew although the same thing is chosen: another scene has other heads to choose from.
  again() {
    this.built = "";
    this.refresh();
  }

  build(item) {
    this.also = [];
    this.fields = item && new Fields(this.editor, item);
    if (!item) {
      this.element.replaceChildren(el("p", { class: "e-hint" }, "Tap something on the plan or in the list, or add something."));
      return;
    }
    const title = el("h3", {}, TITLE[item.kind]);
    const whole = this.fields.note("", title, {});
    const rows = { marks: this.mark, tapes: this.tape, datum: this.datum, seat: this.seat }[item.kind] ?? this.area;
    const remove = item.kind === "performance_polygon" ? null : el("button", { type: "button", onclick: () => this.remove() }, "Remove");
    this.element.replaceChildren(title, whole, ...rows.call(this, item, this.fields), ...(remove ? [el("div", { class: "e-end" }, remove)] : []));
  }

  async remove() {
    const { draft, item } = { draft: this.editor.draft, item: this.editor.item };
    const users = draft.users(item);
    const what = ALONE.includes(item.kind) ? `the ${item.kind}` : item.kind === "tapes" ? `the tape ${item.between.join(" to ")}` : `“${item.name}”`;
    const more = users.length ? ` With it ${users.length === 1 ? "goes what names" : `go ${users.length} things that name`} it: ${users.map((one) => (one.kind === "datum" ? "the datum" : one.between.join("–"))).join(", ")}.` : "";
    if (await sure(`Remove ${what}?${more}`, "Remove")) {
      draft.change("", () => draft.remove(item));
      this.editor.choose(null);
    }
  }

  name(item, fields) {
    const check = (text) => {
      if (!NAME.test(text)) return text ? "Allowed are letters, digits, - and _." : "A name is expected.";
      const taken = this.editor.draft.of(item.kind).some((other) => other.key !== item.key && other.name === text);
      return taken ? `“${text}” is taken; another name is expected.` : "";
    };
    return fields.text("Name", "name", (one) => one.name, check, (text) => {
      this.editor.draft.change("", (draft) => draft.rename(draft.get(item.key), text));
    });
  }

  place(fields, path = "at") {
    return AXES.map((axis, number) => fields.length(`${axis}, ${HINT[number]}`, `${path}.${number + 1}`,
      (item) => item.at?.[number], (item, value) => { item.at[number] = value; }, {}, { of: axis }));
  }

  mark(item, fields) {
    const choice = el("div", { class: "e-choice", role: "group", "aria-label": "How the place is known" }, ...[["Measured", true], ["Never surveyed", false]].map(([word, known]) =>
      el("button", { type: "button", "aria-pressed": String(Boolean(item.at) === known), onclick: () => this.survey(item.key, known) }, word)));
    const optional = { optional: true, above: true, least: 0 };
    const within = fields.length("Measured to within (sigma)", "sigma", (one) => one.sigma, (one, value) => { one.sigma = value; }, optional).row;
    if (item.at) return [this.name(item, fields), choice, fields.group("Place", "at", Fields.row(...this.place(fields))), within];
    const height = fields.length("Height, if it is known", "height", (one) => one.height, (one, value) => { one.height = value; }, { optional: true }).row;
    const hint = el("p", { class: "e-hint" }, "Where it is comes out of the solve, by sightings and tapes.");
    return [this.name(item, fields), choice, hint, height, within];
  }

  // Measured or not; a mark that gets a place gets the solved one, or the middle of the plan.
  survey(key, known) {
    const { draft, app } = this.editor;
    if (Boolean(draft.get(key).at) === known) return;
    draft.change("", () => {
      const item = draft.get(key);
      const solved = app.store.scene.marks[item.was ?? item.name]?.at;
      const [x, y] = this.editor.middle();
      item.at = known ? (solved ?? [x, y, item.height ?? 0]).map((value) => (typeof value === "number" ? round(value) : value)) : null;
      item.height = null;
    });
  }

  seat(item, fields) {
    return [el("p", { class: "e-hint" }, "Where the operator sits: the eyes, for the view from the seat."), fields.group("Place", "at", Fields.row(...this.place(fields)))];
  }

  ends(kinds) {
    const { draft, app } = this.editor;
    const marks = { label: "Marks", options: draft.of("marks").map((mark) => [mark.name, mark.name]) };
    return kinds === "marks" ? [marks] : [marks, { label: "Heads", options: app.store.scene.heads.map((head) => [head.name, head.name]) }];
  }

  tape(item, fields) {
    const end = (label, number) => fields.select(label, `between.${number + 1}`, (one) => one.between[number], (one, value) => { one.between[number] = value; }, this.ends("all"));
    const long = fields.length("Length", "metres", (one) => one.metres, (one, value) => { one.metres = value; }, { least: 0, above: true });
    const within = fields.length("Measured to within (sigma)", "sigma", (one) => one.sigma, (one, value) => { one.sigma = value; }, { optional: true, least: 0, above: true });
    const said = el("p", { class: "e-compared", role: "status" });
    this.also.push(() => write(said, this.compared(fields.item)));
    return [fields.group("Between", "between", el("div", { class: "e-row" }, end("From", 0), end("To", 1))), long.row, said, within.row];
  }

  // The tape beside the distance of the places that the marks have now.
  compared(item) {
    const { draft, app } = this.editor;
    const [from, to] = (item?.between ?? []).map((end) => endPlace(end, draft, app.store.scene));
    const [without] = (item?.between ?? []).filter((end) => end && !endPlace(end, draft, app.store.scene));
    if (!from || !to) return without ? `${without} has no place yet, so there is nothing to compare with.` : "";
    const apart = Math.hypot(...from.map((value, axis) => value - to[axis]));
    const tape = metres(item.metres);
    if (tape === null) return `By their places they are ${apart.toFixed(3)} m apart.`;
    const off = tape - apart;
    const cm = Math.abs(off * 100).toFixed(1);
    return `By their places they are ${apart.toFixed(3)} m apart: the tape is ${cm === "0.0" ? "the same" : `${cm} cm ${off > 0 ? "longer" : "shorter"}`}.`;
  }

  datum(item, fields) {
    const end = (label, key) => fields.select(label, key, (one) => one[key], (one, value) => { one[key] = value; }, this.ends("marks"));
    return [el("p", { class: "e-hint" }, "For a stage that nobody surveyed: one mark is the origin, the x axis goes through the other."), end("Origin", "origin"), end("Along x", "along_x")];
  }

  area(item, fields) {
    const rows = item.kind === "performance_polygon" ? [] : [this.name(item, fields)];
    if (item.kind === "floors") rows.push(fields.length("Height of the floor", "height", (one) => one.height, (one, value) => { one.height = value; }).row);
    else rows.push(this.heights(item, fields));
    if (item.kind === "performance_polygon") rows.push(fields.length("Margin, kept dark inside the edge", "margin", (one) => one.margin, (one, value) => { one.margin = value; }, { optional: true, least: 0 }).row);
    if ("on" in item) rows.push(this.atStart(item));
    return [...rows, this.corners(item, fields)];
  }

  heights(item, fields) {
    const set = (number) => (one, value) => {
      const height = one.height ?? [null, null];
      height[number] = value;
      one.height = height.every((part) => part === null) ? null : height;
    };
    const rules = (area) => ({ optional: !area.height });
    const one = (label, number) => fields.length(label, `height.${number + 1}`, (area) => area.height?.[number], set(number), rules, { of: label });
    return fields.group("Between these heights; both empty: at every height", "height", Fields.row(one("Lowest", 0), one("Highest", 1)));
  }

  atStart(item) {
    const { button, set } = switchButton("On from the start", (on) => this.editor.draft.change("", (draft) => { draft.get(item.key).on = on; }));
    this.also.push(() => set(this.fields.item?.on));
    return button;
  }

  corners(item, fields) {
    const rows = item.corners.map((_, number) => {
      const name = `Corner ${number + 1}`;
      const value = (axis) => fields.length(`${name}, ${AXES[axis]}`, `corners.${number + 1}.${axis + 1}`, (one) => one.corners[number]?.[axis], (one, text) => { one.corners[number][axis] = text; }, {}, { of: AXES[axis], hidden: true });
      const [x, y] = [value(0), value(1)];
      for (const { input } of [x, y]) input.addEventListener("focus", () => this.editor.point(number));
      const more = el("button", { type: "button", "aria-label": `Insert a corner after corner ${number + 1}`, onclick: () => this.editor.insertCorner(this.editor.item, number) }, "+");
      const less = el("button", { type: "button", "aria-label": `Remove corner ${number + 1}`, disabled: item.corners.length < 4, onclick: () => this.editor.removeCorner(this.editor.item, number) }, "−");
      return el("div", { class: "e-corner", role: "group", "aria-label": name }, el("span", { "aria-hidden": "true" }, String(number + 1)), x.row, y.row, more, less, x.note, y.note);
    });
    const head = el("div", { class: "e-corner e-corner-head", "aria-hidden": "true" }, el("span"), el("span", {}, "x"), el("span", {}, "y"));
    return fields.group("Corners", "corners", head, ...rows);
  }
}
