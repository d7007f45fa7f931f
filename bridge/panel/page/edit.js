// The stage editor: plan at the left, list and form at the right. It opens over the screen it was asked for on, and keeps
// what is not saved, wherever the person goes meanwhile.

import { sure } from "./ask.js";
import { el } from "./dom.js";
import { Draft } from "./editdraft.js";
import { EditForm } from "./editform.js";
import { EditHand } from "./edithand.js";
import { EditList } from "./editlist.js";
import { EditPlan } from "./editplan.js";
import { about, place, snap } from "./editplace.js";
import { EditSaving } from "./editsaving.js";
import { groupOf, kindOf, STEM } from "./editwords.js";

let open = null;

// Shows the editor inside the tab Focus session; the same one again while it is open.
export function openEditor(app) {
  open ??= new Editor(app);
  return open;
}

export class Editor {
  constructor(app) {
    Object.assign(this, { app, draft: new Draft(), group: "marks", key: null, corner: null, adding: null });
    this.form = new EditForm(this);
    this.list = new EditList(this);
    this.saving = new EditSaving(this);
    const host = el("div", { class: "e-canvas" });
    this.element = el("section", { class: "edit", "aria-label": "Stage editor" }, this.saving.header,
      el("div", { class: "e-plan" }, host, this.zoomButtons()),
      el("div", { class: "e-side" }, this.saving.notes, this.list.element, this.form.element));
    this.root = document.getElementById("focus");
    this.root.scrollTop = 0;
    this.before = [...this.root.children];
    this.returnTo = document.activeElement;
    for (const child of this.before) child.inert = true;
    this.root.append(this.element);
    this.plan = new EditPlan(host, this);
    this.hand = new EditHand(this, this.plan);
    this.ends = [app.store.on("scene", () => this.saving.sceneChanged())];
    this.onKey = (event) => this.keys(event);
    this.element.addEventListener("keydown", this.onKey);
    this.onLeave = (event) => {
      if (this.draft.unsaved) event.preventDefault();
    };
    window.addEventListener("beforeunload", this.onLeave);
    this.saving.read();
    this.saving.back.focus();
  }

  zoomButtons() {
    const button = (word, name, run) => el("button", { type: "button", "aria-label": name, onclick: run }, word);
    return el("div", { class: "e-zoom" }, button("+", "Closer", () => this.plan.zoom(1.4)), button("−", "Farther", () => this.plan.zoom(1 / 1.4)), button("Whole stage", "Whole stage", () => this.plan.fit()));
  }

  async close() {
    const { unsaved } = this.draft;
    if (unsaved && !(await sure(`${unsaved === 1 ? "One change is" : `${unsaved} changes are`} not saved. Leave without?`, "Leave without saving", "Stay"))) return;
    for (const end of this.ends) end();
    for (const child of this.before) child.inert = false;
    window.removeEventListener("beforeunload", this.onLeave);
    this.element.remove();
    open = null;
    this.returnTo?.focus?.();
  }

  keys(event) {
    if (!(event.ctrlKey || event.metaKey) || event.target.matches?.("input")) return;
    const again = event.key === "y" || (event.shiftKey && event.key.toLowerCase() === "z");
    if (event.key.toLowerCase() !== "z" && !again) return;
    event.preventDefault();
    if (again) this.draft.redo();
    else this.draft.undo();
  }

  // What is chosen

  get item() {
    return this.draft.get(this.key);
  }

  get kind() {
    return this.group;
  }

  show(group) {
    this.group = group;
    this.adding = null;
    this.key = this.draft.items.find((item) => groupOf(item.kind) === group)?.key ?? null;
    this.corner = null;
    this.draft.tell();
    if (group === "seat" && this.item) this.plan.fit();
  }

  choose(item, corner = null) {
    this.key = item?.key ?? null;
    this.corner = corner;
    if (item) {
      this.group = groupOf(item.kind);
      this.plan.reveal(this.plan.placeOf(item));
    }
    this.draft.settle();
    this.draft.tell();
  }

  point(corner) {
    this.corner = corner;
    this.plan.redraw();
  }

  // Problems: those of the last saving, until their field is changed, and those of names that cannot be taken

  problems() {
    const there = this.draft.problems.filter((problem) => !problem.key || this.draft.get(problem.key));
    return there.map((problem) => (problem.key ? { ...problem, item: this.draft.get(problem.key) } : { ...problem, ...about(problem.where, this.draft.items) }));
  }

  forget(key, path) {
    const touches = ({ item, field }) => item?.key === key && (field === path || field === "" || path.startsWith(`${field}.`) || field.startsWith(`${path}.`));
    this.draft.problems = this.problems().filter((problem) => !touches(problem)).map(({ item, ...problem }) => problem);
  }

  own(key, field, what) {
    this.forget(key, field);
    if (what) this.draft.problems.push({ key, field, what, where: "" });
    this.draft.tell();
  }

  // Adding: a mark, the seat and areas are tapped on the plan

  middle() {
    return this.plan.toStage(this.plan.width / 2, this.plan.height / 2).map((value) => snap(value, false));
  }

  add(group) {
    const { draft } = this;
    if (group === "tapes" || group === "datum") {
      const [one, other] = draft.of("marks").filter((mark) => group === "tapes" || !mark.at).map((mark) => mark.name);
      const fields = group === "tapes" ? { between: [one ?? "", other ?? ""], metres: null, sigma: null } : { origin: one ?? "", along_x: other ?? "" };
      draft.change("", () => this.choose(draft.add(group, fields)));
      return;
    }
    this.adding = group ? { kind: kindOf(group), area: !["marks", "seat"].includes(group), points: [] } : null;
    this.choose(null);
    if (!group) return;
    this.plan.canvas.focus({ preventScroll: true });
    this.list.adding.element.scrollIntoView({ block: "nearest" });
  }

  place(point, closes = false) {
    const { kind, area, points } = this.adding;
    if (area && !closes) {
      points.push(point);
      this.draft.tell();
    } else if (area) this.finish();
    else {
      const at = kind === "seat" ? [...point, 1.2] : [...point, 0];
      this.made(kind, kind === "seat" ? { at } : { at, sigma: null, height: null });
    }
  }

  rectangle() {
    const [x, y] = this.middle();
    this.adding.points = [[x - 1, y - 1], [x + 1, y - 1], [x + 1, y + 1], [x - 1, y + 1]].map((point) => point.map((value) => snap(value, true)));
    this.finish();
  }

  finish() {
    const { kind, points } = this.adding;
    if (points.length < 3) return;
    this.made(kind, { corners: points, ...(kind === "floors" ? { height: 0 } : { height: null, on: true }) });
  }

  made(kind, fields) {
    const { draft } = this;
    this.adding = null;
    draft.change("", () => this.choose(draft.add(kind, fields, STEM[kind] ? draft.freeName(kind, STEM[kind]) : "")));
  }

  // Corners

  insertCorner(item, index, point = null, step = "") {
    const [one, other] = [item.corners[index], item.corners[(index + 1) % item.corners.length]].map(place);
    const between = point ?? (one && other ? one.map((value, axis) => snap((value + other[axis]) / 2, true)) : [null, null]);
    this.draft.change(step, (draft) => draft.get(item.key).corners.splice(index + 1, 0, [...between]));
    this.point(index + 1);
  }

  removeCorner(item, index) {
    this.draft.change("", (draft) => draft.get(item.key).corners.splice(index, 1));
    this.point(null);
  }
}
