// All heads into the desk's hands, or back: on Follow, where the show has a desk. What the desk holds is not guarded.

import { el, mark, show } from "./dom.js";
import { onPress } from "./press.js";

const ASKED_MS = 4000;

export class DeskHands {
  constructor(app, wire) {
    Object.assign(this, { app, wire, askedAt: -Infinity });
    this.all = onPress(el("button", { type: "button", class: "to-desk" }, "All to desk"), () => this.giveAll());
    const back = onPress(el("button", { type: "button" }, "All back"), () => this.takeBack());
    this.root = el("div", { class: "all-to-desk", role: "group", "aria-label": "Heads and the desk" }, this.all, back);
    app.store.on("scene", (scene) => show(this.root, scene.desk));
    app.store.on("frame", () => this.write());
  }

  get asked() {
    return performance.now() - this.askedAt < ASKED_MS;
  }

  // Given away on purpose, by a second press: nobody guards them then.
  giveAll() {
    if (!this.known()) return;
    const sure = this.asked;
    this.askedAt = sure ? -Infinity : performance.now();
    this.write();
    if (sure) this.wire.now("/desk", 1);
    else this.app.say("The desk will move and light every head, not guarded by areas. Press again to give them all.", "warning");
  }

  takeBack() {
    if (!this.known()) return;
    this.askedAt = -Infinity;
    this.write();
    this.wire.now("/desk", 0);
  }

  known() {
    const desk = Boolean(this.app.store.scene?.desk);
    if (!desk) this.app.say("This show has no desk: `desk` in network.yaml.");
    return desk;
  }

  write() {
    mark(this.all, "data-asked", this.asked);
  }
}

// Who has which head, in words: the shorter list is named.
export function whoHas(scene, frame) {
  const names = (desk) => scene.heads.map(({ name }) => name).filter((_, number) => frame.heads[number].desk === desk);
  const [desks, ours] = [names(true), names(false)];
  if (!desks.length) return `Ours: all ${ours.length}.`;
  if (!ours.length) return `Desk: all ${desks.length}.`;
  if (desks.length > ours.length) return `Desk: the other ${desks.length}. Ours: ${ours.join(", ")}.`;
  return `Desk: ${desks.join(", ")}. Ours: the other ${ours.length}.`;
}
