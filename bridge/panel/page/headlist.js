// All heads by truss: how each is, its level, what it follows; taken out, held or handed over. A crew is chosen here too.

import { el, mark, show, write } from "./dom.js";
import { DeskHands } from "./headdesk.js";
import { HeadRow } from "./headrow.js";
import { onPress } from "./press.js";

export class HeadList {
  constructor(app, wire) {
    Object.assign(this, { app, wire, rows: [], groups: [], choosing: false });
    this.list = el("div", { class: "heads", role: "region", "aria-label": "Heads", tabindex: "0" });
    this.crew = onPress(el("button", { type: "button", class: "crew-open" }, "Choose a crew"), () => this.choose(true));
    this.footer = this.makeFooter();
    this.desk = new DeskHands(app, wire);
    this.head = el("div", { class: "list-head" }, (this.count = el("span", { class: "quiet" })), this.desk.root, this.crew);
    this.root = el("div", { class: "list of-heads" }, this.head, this.list, this.footer);
    app.store.on("scene", (scene) => this.build(scene));
    app.store.on("frame", (frame) => this.write(frame));
  }

  makeFooter() {
    this.to = el("select", { "aria-label": "Target of the crew" });
    this.give = onPress(el("button", { type: "button", class: "give" }, "Give"), () => this.giveCrew());
    this.what = el("p", { class: "quiet" });
    const cancel = onPress(el("button", { type: "button" }, "Cancel"), () => this.choose(false));
    return el("div", { class: "crew-foot", hidden: true }, this.what, el("div", { class: "crew-do" }, this.to, this.give, cancel));
  }

  build(scene) {
    const names = scene.targets.map(({ name }) => name);
    this.rows = scene.heads.map((head, number) => new HeadRow(this.app, this.wire, head, number, { targets: names, desk: Boolean(scene.desk) }, () => this.tell()));
    mark(this.list, "data-many", Boolean(scene.desk) && names.length > 1);
    const trusses = [...new Set(scene.heads.map((head) => head.truss || ""))];
    this.groups = trusses.map((truss) => this.group(truss, this.rows.filter((row) => (row.head.truss || "") === truss)));
    this.list.replaceChildren(...this.groups.map(({ element }) => element));
    this.to.replaceChildren(...names.map((name) => el("option", { value: name }, name)));
    this.choose(false);
  }

  group(truss, rows) {
    const title = truss || "No truss";
    const said = el("span", { class: "quiet" });
    const all = onPress(el("button", { type: "button", class: "all", hidden: true, "aria-label": `All or none of ${title}` }, "all"), () => {
      const every = rows.every((row) => row.chosen);
      for (const row of rows) row.choose(!every);
      this.tell();
    });
    const element = el("section", { class: "truss", "aria-label": title }, el("div", { class: "truss-head" }, el("h2", {}, title), said, all), ...rows.map((row) => row.element));
    return { element, said, all, rows };
  }

  write(frame) {
    if (this.root.hidden || !this.rows.length) return;
    frame.heads.forEach((head, number) => this.rows[number].write(head));
    for (const { said, rows } of this.groups) {
      const lit = rows.filter((row) => row.lit).length;
      const out = rows.filter((row) => row.out).length;
      write(said, `${lit} of ${rows.length} lit${out ? `, ${out} out` : ""}`);
    }
    const lit = this.rows.filter((row) => row.lit).length;
    write(this.count, `${lit} of ${this.rows.length} lit`);
  }

  // Choosing a crew: each row shows whether it is chosen, at first those that follow the target now.
  choose(on) {
    this.choosing = on;
    const target = this.app.hand.target;
    if (on) this.to.value = target;
    for (const row of this.rows) {
      row.choose(on && row.target === target);
      mark(row.element, "data-choosing", on);
      row.showChoice(on);
    }
    for (const { all } of this.groups) show(all, on);
    show(this.footer, on);
    show(this.crew, !on);
    show(this.desk.root, !on && this.app.store.scene?.desk);
    this.tell();
  }

  tell() {
    const chosen = this.rows.filter((row) => row.chosen).length;
    write(this.what, `Exactly these ${chosen} will follow; who follows now and is not chosen goes back to its own target.`);
    write(this.give, `Give ${chosen} to`);
  }

  giveCrew() {
    const chosen = this.rows.filter((row) => row.chosen).map((row) => row.head.name);
    this.wire.now(`/target/${this.to.value}/crew`, ...chosen);
    this.choose(false);
  }
}
