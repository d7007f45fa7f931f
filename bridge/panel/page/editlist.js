// The list of the stage's things by kind, each with what is changed or wrong; and what is said while something is added.

import { el, mark, show, write } from "./dom.js";
import { ADD, groupOf, GROUPS, KINDS_OF, titleOf } from "./editwords.js";

export class EditList {
  constructor(editor) {
    this.editor = editor;
    this.tabs = Object.fromEntries(GROUPS.map(([group, word]) => [group, el("button", { type: "button", "aria-pressed": "false", onclick: () => editor.show(group) }, word, el("span", { class: "e-count" }))]));
    this.items = el("ul", { class: "e-items", "aria-label": "What there is" });
    this.addButton = el("button", { type: "button", class: "e-add", onclick: () => editor.add(this.editor.group) });
    this.datum = el("button", { type: "button", class: "e-add", onclick: () => editor.add("datum") }, "Add a datum");
    this.adding = this.addingBar();
    this.element = el("div", { class: "e-list" },
      el("div", { class: "e-tabs", role: "group", "aria-label": "Kinds" }, ...Object.values(this.tabs)),
      this.items, el("div", { class: "e-end" }, this.addButton, this.datum), this.adding.element);
    editor.draft.on(() => this.refresh());
  }

  addingBar() {
    const text = el("p", { role: "status" });
    const done = el("button", { type: "button", onclick: () => this.editor.finish() }, "Done");
    const rectangle = el("button", { type: "button", onclick: () => this.editor.rectangle() }, "Begin as a rectangle of 2 m");
    const middle = el("button", { type: "button", onclick: () => this.editor.place(this.editor.middle()) }, "In the middle of the plan");
    const cancel = el("button", { type: "button", onclick: () => this.editor.add(null) }, "Cancel");
    const element = el("div", { class: "e-adding" }, text, el("div", { class: "e-end" }, done, rectangle, middle, cancel));
    const refresh = (adding) => {
      show(element, adding);
      if (!adding) return;
      const area = adding.area;
      show(done, area);
      show(rectangle, area && !adding.points.length);
      show(middle, !area);
      done.disabled = adding.points.length < 3;
      const more = 3 - adding.points.length;
      write(text, !area ? "Tap its place on the plan." : more > 0 ? `Tap its corners on the plan: ${more} more at least.` : "Tap more corners, or Done.");
    };
    return { element, refresh };
  }

  refresh() {
    const { draft, group, item, adding } = this.editor;
    const wrong = new Set(this.editor.problems().map((problem) => problem.item?.key));
    for (const [name, tab] of Object.entries(this.tabs)) {
      const mine = draft.items.filter((one) => groupOf(one.kind) === name);
      mark(tab, "aria-pressed", name === group);
      write(tab.querySelector(".e-count"), this.count(name, mine, wrong));
    }
    const kinds = KINDS_OF[group] ?? [group];
    this.fill(draft.items.filter((one) => kinds.includes(one.kind)), item, wrong);
    write(this.addButton, ADD[group]);
    show(this.addButton, !adding && !(group === "seat" && draft.of("seat").length));
    show(this.datum, !adding && group === "marks" && !draft.of("datum").length && draft.of("marks").filter((one) => !one.at).length > 1);
    this.adding.refresh(adding);
  }

  count(name, mine, wrong) {
    const number = name === "seat" ? "" : ` ${mine.filter((one) => one.kind !== "datum").length}`;
    return `${number}${mine.some((one) => wrong.has(one.key)) ? " !" : ""}`;
  }

  fill(items, chosen, wrong) {
    const rows = items.map((item) => {
      const signs = [this.editor.draft.changed(item) ? "∗ changed" : "", wrong.has(item.key) ? "! wrong" : ""].filter(Boolean).join(", ");
      return { item, title: titleOf(item), signs, pressed: item.key === chosen?.key };
    });
    const built = JSON.stringify(rows.map(({ item, title, signs, pressed }) => [item.key, title, signs, pressed]));
    if (built === this.built) return;
    this.built = built;
    const focused = this.items.contains(document.activeElement) ? document.activeElement.dataset.key : null;
    this.items.replaceChildren(...rows.map(({ item, title, signs, pressed }) => el("li", {},
      el("button", { type: "button", "data-key": item.key, "aria-pressed": String(pressed), onclick: () => this.editor.choose(item) },
        title, signs ? el("span", { class: "e-sign" }, ` ${signs}`) : null))));
    if (!rows.length) this.items.append(el("li", { class: "e-hint" }, "None yet."));
    if (focused) this.items.querySelector(`[data-key="${focused}"]`)?.focus();
  }
}
