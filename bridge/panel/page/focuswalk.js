// The check walk: press and hold a mark and every solved head goes there; then eyes confirm it.

import { el, mark, write } from "./dom.js";
import { big, held } from "./focusyes.js";

const RENEW_MS = 200;

export class WalkPart {
  constructor(app, session) {
    Object.assign(this, { app, session, walked: "", buttons: new Map() });
    this.marks = el("div", { class: "f-grid f-walks" });
    this.told = el("p", { class: "f-told", role: "status" });
    this.confirm = big("Confirm", () => app.link.osc("/walk/confirm", this.walked), { class: "f-big f-main", disabled: true });
    this.element = el("div", { class: "f-walk" },
      el("p", {}, "Press and hold a mark: every solved head goes there. Look at every beam, then confirm."),
      this.marks, this.told, this.confirm);
    app.store.on("scene", () => this.build());
    app.store.on("news", (news) => this.heard(news));
    app.store.on("frame", (frame) => this.write(frame));
  }

  build() {
    const names = [...this.session.known];
    this.buttons = new Map(names.map((name) => [name, el("button", { type: "button", class: "f-big", "aria-label": `Check walk ${name}` }, name)]));
    this.marks.replaceChildren(...this.buttons.values());
    for (const [name, button] of this.buttons) {
      held(button, () => this.walk(name), { first: RENEW_MS, every: RENEW_MS, end: () => this.ended(name) });
    }
  }

  walk(name) {
    this.now = name;
    mark(this.buttons.get(name), "aria-pressed", "true");
    this.app.link.osc("/walk", name);
    if (this.walked !== name) write(this.told, `Walking ${name} ...`);
    this.walked = name;
  }

  ended(name) {
    this.now = "";
    mark(this.buttons.get(name), "aria-pressed", "false");
    this.confirm.disabled = false;
    write(this.told, `Were all beams on ${name}? Then confirm it.`);
  }

  write(frame) {
    if (!this.now || !frame) return;
    const { scene } = this.app.store;
    const solved = scene.heads.filter((head) => head.solved).length;
    const there = frame.heads.filter((head) => head.state === "sighting" && head.level > 0.003).length;
    write(this.told, `${this.now}: ${there} of ${solved} solved heads are lit.`);
  }

  heard(news) {
    if (news.old) return;
    if (news.what === "confirmed") write(this.told, `Confirmed at ${news.mark}: ${news.text}`);
    if (news.what === "refused" && news.address.startsWith("/walk")) write(this.told, news.text);
  }
}
