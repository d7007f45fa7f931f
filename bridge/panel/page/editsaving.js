// The editor's head: what is not saved, undo, save; and what the panel and the bridge said to it.

import { el, mark, show, write } from "./dom.js";
import { counted, groupOf, titleOf } from "./editwords.js";

export class EditSaving {
  constructor(editor) {
    this.editor = editor;
    this.busy = false;
    this.back = el("button", { type: "button", onclick: () => editor.close() }, "Back to the session");
    this.word = el("span", {});
    this.state = el("p", { class: "e-state", role: "status" }, el("span", { class: "shape", "aria-hidden": "true" }), this.word);
    this.undo = el("button", { type: "button", onclick: () => editor.draft.undo() }, "Undo");
    this.redo = el("button", { type: "button", onclick: () => editor.draft.redo() }, "Redo");
    this.button = el("button", { type: "button", class: "e-save", onclick: () => this.save() }, "Save");
    this.header = el("header", { class: "e-head" }, this.back, el("h2", {}, "Edit the stage"), this.state, this.undo, this.redo, this.button);
    this.notes = el("div", { class: "e-notes", role: "alert" });
    this.heads = editor.app.store.scene?.heads.map((head) => head.name).join();
    editor.draft.on(() => this.refresh());
  }

  refresh() {
    const { draft } = this.editor;
    const { unsaved } = draft;
    mark(this.state, "data-shape", this.busy ? "bar" : unsaved ? "triangle" : "dot");
    write(this.word, this.busy ? "saving …" : !draft.digest ? "reading …" : unsaved ? `${counted(unsaved, "change")} not saved` : "as saved");
    this.undo.disabled = !draft.past.length || this.busy;
    this.redo.disabled = !draft.future.length || this.busy;
    this.button.disabled = !unsaved || this.busy;
    if (this.good && unsaved && draft.past.length) this.note(); // what it said is over
  }

  // One note above the list at a time: {level, lines, actions: [[word, run]]}; none without.
  note(level = "", lines = [], actions = []) {
    this.good = level === "good";
    this.notes.replaceChildren(...(lines.length ? [el("div", { class: "e-told", "data-level": level, "data-shape": level === "good" ? "dot" : "triangle" },
      el("span", { class: "shape", "aria-hidden": "true" }),
      el("div", {}, ...lines.map((line) => el("p", {}, line)), actions.length ? el("div", { class: "e-end" }, ...actions.map(([word, run]) => el("button", { type: "button", onclick: run }, word))) : null))] : []));
  }

  // The file as it is now; `keep`: with what is not saved made in it.
  async read(keep = false) {
    const { editor } = this;
    const chosen = editor.item;
    try {
      const answer = await editor.app.link.ask("stage");
      this.taken(answer, keep, chosen);
      if (keep) this.note("good", ["The file was read again, and your changes stand in it. Look at them, then save."]);
    } catch (error) {
      this.note("bad", [error.message, ...(error.problems ?? []).map((problem) => problem.what)], [["Read again", () => this.read(keep)]]);
    }
  }

  taken(answer, keep, chosen) {
    const { editor } = this;
    const first = !editor.draft.digest;
    editor.draft.read(answer, keep);
    const same = chosen && editor.draft.items.find((item) => item.kind === chosen.kind && titleOf(item) === titleOf(chosen));
    editor.key = same?.key ?? editor.draft.items.find((item) => groupOf(item.kind) === editor.group)?.key ?? null;
    editor.corner = null;
    editor.form.again();
    editor.draft.tell();
    if (first) editor.plan.fit();
    if (answer.odd.length) this.note("bad", [`Written in a way that this editor does not know, so it is not shown and stays as it is: ${answer.odd.join(", ")}.`]);
    else if (!keep) this.note();
  }

  async save() {
    const { editor } = this;
    const { draft } = editor;
    document.activeElement?.blur?.();
    if (editor.problems().some((problem) => problem.key)) return this.toFirst();
    const chosen = editor.item;
    this.busy = true;
    this.refresh();
    try {
      const answer = await editor.app.link.ask("stage-save", { changes: draft.changes(), digest: draft.digest });
      this.taken(answer, false, chosen);
      if (answer.taken) this.note("good", ["Saved, and the bridge goes by it."]);
      else this.note("bad", ["Saved, but the bridge has not taken it:", ...answer.lines]);
    } catch (error) {
      this.refused(error);
    } finally {
      this.busy = false;
      this.refresh();
    }
    return undefined;
  }

  refused(error) {
    const { draft } = this.editor;
    const problems = error.problems ?? [];
    if (problems.some((problem) => problem.where === "digest")) {
      this.note("bad", [problems[0].what], [["Put my changes into the file as it is now", () => this.read(true)], ["Drop my changes, read the file", () => this.read(false)]]);
      return;
    }
    draft.problems = problems.map(({ where, what }) => ({ where, what }));
    const placed = this.editor.problems();
    const rest = placed.filter(({ item }) => !item).map(({ where, what }) => (where ? `${where}: ${what}` : what));
    this.note("bad", [error.message, ...rest], placed.some(({ item }) => item) ? [["Show the first", () => this.toFirst()]] : []);
    this.toFirst();
  }

  // Show the first problem: its form, its field in sight and with the keyboard, its place on the plan.
  toFirst() {
    const { editor } = this;
    const first = editor.problems().find(({ item }) => item);
    if (!first) return editor.draft.tell();
    editor.choose(first.item);
    editor.plan.reveal(editor.plan.placeOf(first.item, first.field));
    const field = editor.form.fields.first;
    if (!field) return undefined;
    field.control.focus?.({ preventScroll: true });
    field.control.scrollIntoView({ block: "start" });
    return undefined;
  }

  // The show was read again by somebody: without unsaved changes the file is simply shown as it is now.
  async sceneChanged() {
    const { editor } = this;
    editor.plan.redraw();
    const heads = editor.app.store.scene.heads.map((head) => head.name).join();
    if (heads !== this.heads) editor.form.again();
    this.heads = heads;
    if (this.busy || !editor.draft.digest) return;
    const answer = await editor.app.link.ask("stage").catch(() => null);
    if (!answer || answer.digest === editor.draft.digest || this.busy) return;
    if (!editor.draft.unsaved) this.taken(answer, false, editor.item);
    else this.note("bad", ["stage.yaml was changed by somebody else meanwhile. Your changes are still here."], [["Put my changes into the file as it is now", () => this.read(true)]]);
  }
}
