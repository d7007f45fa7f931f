// Areas, no-light areas and floors of the stage: switches and steps, as the bridge has them now.

import { el, switchButton, write } from "./dom.js";
import { onPress } from "./press.js";

const STEP_M = 0.1;

export class Places {
  constructor(app, wire) {
    Object.assign(this, { app, wire, rows: [] });
    this.root = el("div", { class: "list stage-places", role: "group", "aria-label": "Stage", tabindex: "0" });
    app.store.on("scene", (scene) => this.build(scene));
    app.store.on("frame", (frame) => this.write(frame));
  }

  build(scene) {
    const areas = scene.areas.map(({ name, on }) => this.area("area", name, on, "areas"));
    const dark = scene.no_light.map(({ name, on }) => this.area("no-light", name, on, "no_light"));
    const floors = scene.floors.map(({ name, height }) => this.floor(name, height));
    this.rows = [...areas, ...dark, ...floors];
    const part = (title, rows) => (rows.length ? [el("h2", {}, title), ...rows.map((row) => row.element)] : []);
    const all = [...part("Areas joined to the performance polygon", areas), ...part("No-light areas", dark), ...part("Floors", floors)];
    this.root.replaceChildren(...(all.length ? all : [el("p", { class: "quiet" }, "stage.yaml has no areas, no-light areas or floors to switch.")]));
  }

  area(kind, name, on, key) {
    const { button, set } = switchButton(name, (yes) => this.wire.now(`/${kind}/${name}`, yes ? 1 : 0));
    set(on);
    return { element: button, write: (frame) => set(frame[key][name] ?? on) };
  }

  floor(name, height) {
    let now = height;
    const value = el("output", { class: "value", "aria-live": "off" }, `${height.toFixed(2)} m`);
    const step = (by, label, sign) => {
      const button = el("button", { type: "button", "aria-label": `${label} ${name}` }, sign);
      return onPress(button, () => this.wire.now(`/floor/${name}`, Number((now + by).toFixed(3))));
    };
    const element = el("div", { class: "floor" }, el("span", { class: "label" }, name), step(-STEP_M, "Lower", "\u2212"), value, step(STEP_M, "Raise", "+"));
    const tell = (frame) => {
      now = frame.floors[name] ?? height;
      write(value, `${now.toFixed(2)} m`);
    };
    return { element, write: tell };
  }

  write(frame) {
    if (this.root.hidden) return;
    for (const row of this.rows) row.write(frame);
  }
}
