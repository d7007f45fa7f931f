// Questions that must be answered before a file, or more of it, can be taken over: each a control. Answered ones stay.

import { el, mark, show, write } from "./dom.js";

const OPEN = { mode: "", profile: "Leave these heads out", map: "Leave this column out" };
const TITLE = { mode: "Mode", profile: "Profile of type", map: "Column" };

export class ImportAsks {
  // `changed()` when an answer is given.
  constructor(changed) {
    Object.assign(this, { changed, groups: new Map() });
    this.element = el("section", { class: "i-asks", "aria-label": "Questions", hidden: true }, el("h3", {}, "Questions"));
  }

  // [{key, about, value}] as the panel takes them.
  get answers() {
    return [...this.groups.values()].filter((group) => group.value).map(({ key, about, value }) => ({ key, about, value }));
  }

  get open() {
    return [...this.groups.values()].filter((group) => group.asked && !group.value).length;
  }

  // `asks`: those that are still open; `profiles`: what heads can have.
  take(asks, profiles) {
    for (const group of this.groups.values()) group.asked = false;
    for (const ask of asks) this.add(ask, profiles);
    show(this.element, this.groups.size);
    for (const group of this.groups.values()) group.write();
  }

  // One option answers all asks of a mode; columns and types are answered one by one.
  add(ask, profiles) {
    const id = ask.key === "mode" ? ask.key : `${ask.key} ${ask.about}`;
    const choices = ask.choices.length ? ask.choices : ask.key === "profile" ? profiles : [];
    let group = this.groups.get(id);
    if (!group) {
      group = new Group(ask, choices, this.groups.size, this.changed);
      this.groups.set(id, group);
      this.element.append(group.element);
    }
    group.asked = true;
    group.hear(ask.text);
  }

  disable(yes) {
    for (const group of this.groups.values()) for (const control of group.controls) control.disabled = yes;
  }
}

class Group {
  constructor(ask, choices, number, changed) {
    Object.assign(this, { key: ask.key, about: ask.about, value: "", asked: true, changed, heard: new Set() });
    const title = `${TITLE[ask.key] ?? ask.key}${ask.key === "mode" || !ask.about ? "" : ` “${ask.about}”`}`;
    const id = `import-ask-${number}`;
    this.label = el("h4", { id }, ask.key === "mode" ? title : el("label", { for: `${id}-answer` }, title));
    this.state = el("p", { class: "i-sign" }, el("span", { class: "shape", "aria-hidden": "true" }), el("span", {}));
    this.texts = el("div", { class: "i-texts", id: `${id}-text` });
    const naming = { id: `${id}-answer`, "aria-describedby": this.texts.id };
    const control = ask.key === "mode" ? this.buttons(ask, choices, { "aria-labelledby": id, ...naming }) : choices.length ? this.select(ask, choices, naming) : this.field(naming);
    this.element = el("div", { class: "i-ask" }, el("div", { class: "i-ask-head" }, this.label, this.state), this.texts, control);
  }

  hear(text) {
    if (this.heard.has(text)) return;
    this.heard.add(text);
    this.texts.append(el("p", {}, text));
  }

  buttons({ text }, choices, naming) {
    this.controls = choices.map((choice) => {
      const slots = slotsOf(choice, text);
      return el("button", { type: "button", class: "i-mode", "data-value": choice, "aria-pressed": "false", onclick: () => this.answer(choice) },
        el("span", {}, choice || "(without a name)"), slots ? el("span", { class: "small" }, `${slots} slots`) : null);
    });
    return el("div", { class: "i-modes", role: "group", ...naming }, ...this.controls);
  }

  select({ key }, choices, naming) {
    const select = el("select", naming, el("option", { value: "" }, OPEN[key]), ...choices.map((choice) => el("option", { value: choice }, choice)));
    select.addEventListener("change", () => this.answer(select.value));
    this.controls = [select];
    return select;
  }

  field(naming) {
    const field = el("input", { type: "text", maxlength: 200, autocomplete: "off", spellcheck: "false", ...naming });
    field.addEventListener("change", () => this.answer(field.value.trim()));
    this.controls = [field];
    return field;
  }

  answer(value) {
    if (value === this.value) return;
    this.value = value;
    this.write();
    this.changed();
  }

  write() {
    const { value, asked } = this;
    mark(this.state, "data-shape", value && asked ? "triangle" : value ? "dot" : "ring");
    write(this.state.lastChild, value && asked ? "does not answer all of it" : value ? "answered" : "open");
    for (const control of this.controls) if (control.hasAttribute("aria-pressed")) mark(control, "aria-pressed", control.dataset.value === value);
  }
}

// How many slots a mode has, where the question says it: `Mode 1 (24 slots)` or `'Mode 1' (24 slots)`.
function slotsOf(choice, text) {
  for (const written of [`'${choice}' (`, `${choice} (`]) {
    const at = text.indexOf(written);
    const slots = at < 0 ? null : /^\d+(?= slots?\))/.exec(text.slice(at + written.length));
    if (slots) return slots[0];
  }
  return null;
}
