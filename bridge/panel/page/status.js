// The strip above every screen: what must be seen without reading. Each sign has a word, a shape and its own place.

import { el, mark, show, write } from "./dom.js";

const LOST_MS = 400; // told within half a second, whatever the rate of the pictures
const INPUT_OLD_MS = 1000;

// name of a sign -> (what the page knows) -> [shape, word, small]
const SIGNS = {
  bridge: ({ silentMs, rtt }) => (silentMs > LOST_MS ? ["cross", "Bridge lost"] : ["dot", "Bridge", `${Math.round(rtt ?? 0)} ms`]),
  armed: ({ bridge }) => (bridge.armed ? ["dot", "Armed"] : ["ring", "Not armed"]),
  output: ({ frame, bridge }) => output(frame, bridge),
  input: ({ target }) => input(target),
  place: ({ target }) => place(target),
  still: ({ bridge }) => (bridge.still ? ["bar", "Still"] : ["none", ""]),
  lock: ({ bridge }) => (bridge.locked ? ["square", "Locked"] : ["none", ""]),
};

function output(frame, bridge) {
  if (!bridge.armed) return ["ring", "Sends nothing"];
  const words = frame.universes.map((row) => row.word);
  if (words.includes("overruled")) return ["triangle", "Overruled"];
  if (words.includes("refused")) return ["triangle", "Partly refused"];
  return words.includes("waiting") ? ["ring", "Waiting"] : ["dot", "Sending"];
}

function input(target) {
  if (!target || target.age < 0) return ["ring", "No input"];
  if (target.age > INPUT_OLD_MS) return ["triangle", "Input old", `${(target.age / 1000).toFixed(1)} s`];
  return ["dot", "Input", `${Math.round(target.age)} ms`];
}

function place(target) {
  if (!target || target.age < 0) return ["ring", "No place"];
  return target.inside ? ["dot", "Inside"] : ["triangle", "Outside"];
}

export class Status {
  constructor(app, parts) {
    Object.assign(this, { app, parts, signs: {} });
    for (const name of Object.keys(SIGNS)) this.signs[name] = this.sign(name);
    parts.dark.addEventListener("click", () => this.dark());
    setInterval(() => this.write(), 100);
    app.store.on("frame", () => this.write());
    app.store.on("link", () => this.write());
  }

  sign(name) {
    const word = el("span", { class: "word" });
    const small = el("span", { class: "small" });
    const item = el("li", { "data-sign": name, hidden: true }, el("span", { class: "shape", "aria-hidden": "true" }), word, small);
    this.parts.signs.append(item);
    return { item, word, small };
  }

  // On at one press; off is asked for on purpose, by a second press within a few seconds.
  dark() {
    const { app, parts } = this;
    const on = parts.dark.getAttribute("aria-checked") === "true";
    if (!on) return app.link.osc("/dark", 1);
    if (this.asked && performance.now() - this.asked < 4000) {
      this.asked = 0;
      return app.link.osc("/dark", 0);
    }
    this.asked = performance.now();
    app.say("Press again to bring the light back.", "warning");
    return false;
  }

  write() {
    const { app, parts } = this;
    const { frame, silentMs } = app.store;
    this.writeBanner(silentMs);
    if (!frame) return;
    const name = app.target?.() ?? frame.targets[0]?.name;
    const known = { frame, silentMs, bridge: frame.bridge, target: app.store.target(name), rtt: app.link.roundTripMs };
    for (const [sign, tell] of Object.entries(SIGNS)) {
      const [shape, word, small = ""] = tell(known);
      mark(this.signs[sign].item, "data-shape", shape);
      show(this.signs[sign].item, shape !== "none");
      write(this.signs[sign].word, word);
      write(this.signs[sign].small, small);
    }
    mark(parts.dark, "aria-checked", Boolean(frame.bridge.dark));
    write(parts.dark.querySelector(".word"), frame.bridge.dark ? "Dark: press twice to end" : "Everything dark");
    mark(document.body, "data-lost", silentMs > LOST_MS);
  }

  writeBanner(silentMs) {
    const { app, parts } = this;
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
