// Fields of the editor's forms: a label, a control, and under it what the value means or what is wrong with it.

import { el, mark, write } from "./dom.js";
import { meaning, typed, written, wrong } from "./editunits.js";

let numbers = 0;

// Everything that a form shows of an item, so that problems find their field by its path within the item.
export class Fields {
  constructor(editor, item) {
    Object.assign(this, { editor, key: item.key, all: [] });
  }

  get item() {
    return this.editor.draft.get(this.key);
  }

  // A control with its note. `check(item)` is what is wrong while typing, `mean(item)` what stands there otherwise.
  note(path, control, { check = () => "", mean = () => "", show: shown }) {
    const id = `edit-note-${(numbers += 1)}`;
    const note = el("p", { class: "e-note", id });
    control.setAttribute("aria-describedby", id);
    this.all.push({ path, control, note, check, mean, shown });
    return note;
  }

  // A length. `get(item)` is the value as written, `set(item, value)` puts another. `rules`: see editunits.js, or a
  // function that gives them for an item.
  // `of` names it in its note, which then stands apart from it, under the whole row; `hidden`: its label is not written.
  length(label, path, get, set, rules = {}, { of = null, hidden = false } = {}) {
    const id = `edit-${(numbers += 1)}`;
    const input = el("input", { type: "text", id, autocomplete: "off", spellcheck: "false", class: "e-length", ...(hidden ? { "aria-label": label } : {}) });
    const note = this.note(path, input, {
      check: (item) => wrong(get(item), typeof rules === "function" ? rules(item) : rules),
      mean: (item) => meaning(get(item)),
      show: (item) => { input.value = typed(get(item)); },
    });
    input.addEventListener("input", () => this.typed(path, (item) => set(item, written(input.value, get(item)))));
    input.addEventListener("change", () => this.editor.draft.settle());
    if (of) note.dataset.of = of;
    const name = hidden ? null : el("label", { for: id }, label, rules.optional ? el("span", { class: "e-optional" }, " optional") : null);
    return { input, note, row: el("div", { class: "e-field" }, name, input, of ? null : note) };
  }

  // Lengths side by side, what is said of each under all of them.
  static row(...lengths) {
    return el("div", { class: "e-wide" }, el("div", { class: "e-row" }, ...lengths.map((one) => one.row)), ...lengths.map((one) => one.note));
  }

  typed(path, make) {
    this.editor.forget(this.key, path);
    this.editor.draft.change(`type ${this.key} ${path}`, () => make(this.item));
  }

  // A text that is taken when the field is left: `take(text)` gives what is wrong with it, or "".
  text(label, path, get, check, take) {
    const id = `edit-${(numbers += 1)}`;
    const input = el("input", { type: "text", id, autocomplete: "off", spellcheck: "false", maxlength: 64 });
    const note = this.note(path, input, { show: (item) => { input.value = get(item); } });
    const tell = (text) => this.editor.own(this.key, path, text);
    input.addEventListener("input", () => tell(check(input.value)));
    input.addEventListener("change", () => {
      const { value } = input; // what is told writes the field anew
      const text = check(value);
      if (!text && value !== get(this.item)) take(value);
      tell(text);
    });
    return el("div", { class: "e-field" }, el("label", { for: id }, label), input, note);
  }

  // One of several, by its word. `options`: [value, word], or {label, options} for a group of them.
  select(label, path, get, set, options) {
    const id = `edit-${(numbers += 1)}`;
    const one = ([value, word]) => el("option", { value }, word);
    const select = el("select", { id }, ...options.map((option) => (option.label ? el("optgroup", { label: option.label }, ...option.options.map(one)) : one(option))));
    const note = this.note(path, select, {
      show: (item) => {
        const value = get(item) ?? "";
        if (![...select.options].some((option) => option.value === value)) select.append(one([value, value || "choose"]));
        select.value = value;
      },
    });
    select.addEventListener("change", () => {
      this.editor.draft.settle();
      this.typed(path, (item) => set(item, select.value));
    });
    return el("div", { class: "e-field" }, el("label", { for: id }, label), select, note);
  }

  // A group with a heading and a note of its own, for what is wrong with the whole.
  group(legend, path, ...rows) {
    const set = el("fieldset", { class: "e-group" }, el("legend", {}, legend));
    const note = this.note(path, set, {});
    set.append(note, ...rows);
    return set;
  }

  // Values, marks of what is wrong and words, where the hand is not typing right now.
  refresh() {
    const { item } = this;
    if (!item) return;
    for (const field of this.all) {
      if (field.shown && document.activeElement !== field.control) field.shown(item);
      if (field.shown && document.activeElement === field.control && field.control.tagName === "SELECT") field.shown(item);
      const text = this.problem(field.path) || field.check(item);
      mark(field.note, "data-wrong", Boolean(text));
      write(field.note, text || field.mean(item));
      if (["INPUT", "SELECT"].includes(field.control.tagName)) mark(field.control, "aria-invalid", Boolean(text));
    }
  }

  // What was refused here: of this very field, or of something inside it that has no field of its own.
  problem(path) {
    const mine = this.editor.problems().filter(({ item }) => item?.key === this.key);
    const owner = (field) => this.all.map((one) => one.path).filter((one) => one === field || field.startsWith(`${one}.`)).sort((one, other) => other.length - one.length)[0] ?? "";
    return mine.filter(({ field }) => owner(field) === path).map(({ what }) => what).join(" ");
  }

  // The first control that something is wrong with.
  get first() {
    return this.all.find((field) => field.note.dataset.wrong === "true" && field.note.textContent) ?? null;
  }
}
