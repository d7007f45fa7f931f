// The strip above every screen: what must be seen without reading. Each sign has a word, a shape and its own place.

import { Awake, Battery } from "./awake.js";
import { el, mark, show, write } from "./dom.js";
import { onPress } from "./press.js";
import { LOST_MS, milliseconds, overruledBy, SIGNS, Steady } from "./statussigns.js";

const LOOK_MS = 50;
const ASKED_MS = 4000;
const SAME_PRESS_MS = 400; // a double press makes it dark, and no more

export class Status {
  constructor(app, parts) {
    Object.assign(this, { app, parts, signs: {}, askedAt: -Infinity, darkAt: -Infinity });
    for (const name of Object.keys(SIGNS)) this.signs[name] = this.sign(name);
    for (const name of ["line", "battery", "screen"]) this.signs[name] = this.sign(name);
    this.awake = new Awake(app);
    this.battery = new Battery();
    app.dark = () => this.dark();
    onPress(parts.dark, app.dark, { down: true });
    setInterval(() => this.write(), LOOK_MS);
    app.store.on("frame", () => this.write());
    app.store.on("link", () => this.write());
  }

  sign(name) {
    const word = el("span", { class: "word" });
    const small = el("span", { class: "small" });
    const item = el("li", { "data-sign": name, "data-shape": "none" }, el("span", { class: "shape", "aria-hidden": "true" }), word, small);
    this.parts.signs.append(item);
    return { item, word, small, steady: new Steady() };
  }

  // On at one press; off is asked for on purpose, by a second press within a few seconds.
  dark() {
    const { app, parts } = this;
    const now = performance.now();
    const on = parts.dark.getAttribute("aria-checked") === "true";
    if (!on) {
      this.darkAt = now;
      return this.send(1);
    }
    if (now - this.darkAt < SAME_PRESS_MS) return true;
    if (now - this.askedAt < ASKED_MS) {
      this.askedAt = -Infinity;
      return this.send(0);
    }
    this.askedAt = now;
    app.say("Press again to bring the light back.", "warning");
    this.write();
    return true;
  }

  send(on) {
    const left = this.app.link.osc("/dark", on);
    if (!left) this.app.say("Not sent: the line to the panel is cut. It comes back by itself; then press again.", "error");
    return left;
  }

  write() {
    const { app } = this;
    const { frame, silentMs } = app.store;
    const now = performance.now();
    this.writeBanner(silentMs);
    this.writeOwn(now);
    mark(document.body, "data-lost", silentMs > LOST_MS);
    if (!frame) return;
    const name = app.target?.() ?? frame.targets[0]?.name;
    const known = { frame, silentMs, bridge: frame.bridge, target: app.store.target(name) };
    for (const [sign, tell] of Object.entries(SIGNS)) this.put(sign, tell(known), now);
    this.writeDark(frame.bridge, now);
    this.sayOverruled(frame.universes);
  }

  put(name, told, now) {
    const { item, word, small, steady } = this.signs[name];
    const [shape, words, figures] = steady.show(told, now);
    mark(item, "data-shape", shape);
    write(word, words);
    write(small, figures);
    if (item.title !== figures) item.title = figures;
  }

  // What this page knows of itself: its line, its battery, its screen.
  writeOwn(now) {
    const { open, roundTripMs } = this.app.link;
    this.put("line", open ? ["dot", "Line", milliseconds(roundTripMs ?? NaN)] : ["cross", "Line cut"], now);
    this.put("battery", this.battery.sign, now);
    this.put("screen", this.awake.sign, now);
  }

  writeDark({ dark }, now) {
    const { parts } = this;
    const asked = dark && now - this.askedAt < ASKED_MS;
    mark(parts.dark, "aria-checked", Boolean(dark));
    mark(parts.dark, "data-asked", asked);
    const left = Math.ceil((ASKED_MS - (now - this.askedAt)) / 1000);
    write(parts.dark.querySelector(".more"), !dark ? "off" : asked ? `once more: ${left} s` : "on: twice to end");
  }

  // Once, in full, when it begins or changes: the strip has no room for all of it.
  sayOverruled(universes) {
    const by = overruledBy(universes);
    if (by && by !== this.saidOver) this.app.say(`Overruled: ${by}. What we send there is not heard.`, "warning");
    this.saidOver = by;
  }

  writeBanner(silentMs) {
    const { parts } = this;
    const text = this.trouble(silentMs);
    write(parts.text, text);
    if (parts.banner.hidden === Boolean(text)) {
      show(parts.banner, text);
      write(parts.alert, text ? "The bridge is not heard. This page goes on by itself when it is back." : "");
    }
  }

  trouble(silentMs) {
    const { app } = this;
    if (app.link.elsewhere) return "This page was opened a second time. Load it again to work from here.";
    if (silentMs <= LOST_MS) return "";
    const since = Number.isFinite(silentMs) ? ` for ${(silentMs / 1000).toFixed(1)} s` : "";
    if (!app.link.open) return `The panel is not heard${since}: lights stay as the bridge has them. It comes back by itself.`;
    const absent = app.store.frame?.absent ? " Nobody listens at its address: is `tetherlight run` on?" : "";
    return `The bridge is not heard${since}.${absent} This page goes on by itself when it is back.`;
  }
}
