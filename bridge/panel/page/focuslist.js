// Heads and marks as a list: the second way to choose them, and the one that a screen reader has.

import { el, mark, write } from "./dom.js";
import { big, choice } from "./focusyes.js";

export class FocusList {
  constructor(app, session) {
    Object.assign(this, { app, session, rows: [] });
    this.order = choice("Order", [["head", "Head by head"], ["mark", "Mark by mark"]], (order) => {
      session.order = order;
      app.settings.set("focus.order", order);
      session.changed("choice");
    });
    this.several = el("button", { type: "button", role: "switch", class: "f-big switch", "aria-checked": "false", "aria-label": "Taps on the plan choose several", onclick: () => {
      session.several = !session.several;
      session.changed("choice");
    } }, el("span", { class: "shape", "aria-hidden": "true" }), "Taps on the plan choose several");
    this.heads = el("div", { class: "f-table" });
    this.marks = el("div", { class: "f-table" });
    this.element = el("div", { class: "f-list" },
      this.several, el("h2", {}, "Order"), this.order.row,
      el("h2", {}, "Heads"), this.all("heads"), this.heads,
      el("h2", {}, "Marks"), this.all("marks"), this.marks);
    app.store.on("scene", () => this.build());
    session.on(() => this.write());
  }

  all(kind) {
    const set = (names) => {
      this.session[kind] = new Set(names);
      this.session.changed("choice");
    };
    const every = () => (kind === "heads" ? this.app.store.scene.heads.map((head) => head.name) : [...this.session.known]);
    return el("div", { class: "f-row" },
      big(`All ${kind}`, () => set(every())), big(`Only the one in hand`, () => set([kind === "heads" ? this.session.head : this.session.mark]), { "aria-label": `Only the one in hand of the ${kind}` }));
  }

  build() {
    const { scene } = this.app.store;
    this.rows = [];
    this.heads.replaceChildren(...scene.heads.map((head) => this.row("heads", head.name)));
    this.marks.replaceChildren(...[...this.session.known].map((name) => this.row("marks", name)));
    this.write();
  }

  row(kind, name) {
    const { session } = this;
    const head = kind === "heads";
    const count = el("span", { class: "f-count" });
    const go = big(name, () => session.goTo(head ? name : session.head, head ? session.mark : name), { class: "f-big f-go" });
    const box = el("input", { type: "checkbox", "aria-label": `${name} is chosen` });
    box.addEventListener("change", () => {
      if (box.checked) session[kind].add(name);
      else session[kind].delete(name);
      session.changed("choice");
    });
    this.rows.push({ kind, name, count, go, box });
    return el("div", { class: "f-entry" }, el("label", { class: "f-check" }, box), go, count);
  }

  write() {
    const { session } = this;
    this.order.set(session.order);
    mark(this.several, "aria-checked", session.several);
    for (const { kind, name, count, go, box } of this.rows) {
      const head = kind === "heads";
      const [done, all] = head ? [session.doneOf(name), session.marks.size] : [session.headsOn(name), session.heads.size];
      write(count, `${done} of ${all}${all && done === all ? " ✓" : ""}`);
      mark(go, "aria-current", name === (head ? session.head : session.mark));
      box.checked = session[kind].has(name);
    }
  }
}
