// The screen Rig: what may move at all, what goes out and comes in, and what was told.

import { sure } from "./ask.js";
import { el, mark, switchButton, write } from "./dom.js";
import { mountImport } from "./importdrop.js";
import { mountNews } from "./rignews.js";
import { mountTables } from "./rigtables.js";

const LOOK_MS = 250;

export function mount(root, app) {
  const switches = el("div", { class: "card switches" }, el("h2", {}, "May move"));
  const tables = el("div", { class: "card tables" });
  const news = el("div", { class: "card news" });
  root.append(switches, tables, news);
  const writers = [mountSwitches(switches, app), mountTables(tables, app)];
  mountImport(switches, app);
  mountNews(news, app);
  const look = () => {
    if (app.tab !== "rig" || !app.store.frame) return;
    for (const write of writers) write(app.store.frame);
  };
  setInterval(look, LOOK_MS);
  app.onTab.push(look);
}

function mountSwitches(host, app) {
  const { link } = app;
  const armed = switchButton("Armed", (on) => arm(app, on), ["sends nothing", "heads may move"]);
  const lock = switchButton("Lock", (on) => link.osc("/lock", on ? 1 : 0), ["open", "only Follow works"]);
  const still = switchButton("Still", (on) => hold(app, "all", "", on), ["nobody aloft", "dark, no motion"]);
  const whoArmed = el("p", { class: "who" });
  const whoLocked = el("p", { class: "who" });
  const whoStill = el("p", { class: "who" });
  const parts = el("details", {}, el("summary", {}, "Still for one truss or one head"));
  const places = el("div", { class: "places" });
  parts.append(places);
  host.append(armed.button, whoArmed, lock.button, whoLocked, still.button, whoStill, parts,
    el("p", { class: "quiet" }, "Still asks heads to stand still and dark. It is a courtesy of software and no lock-out: isolate the power."));
  const singles = new Map();
  app.store.on("scene", (scene) => buildSingles(places, singles, scene, app));
  return (frame) => {
    armed.set(frame.bridge.armed);
    lock.set(frame.bridge.locked);
    still.set(frame.stills.some((row) => row.kind === "all"));
    write(whoArmed, by(frame, "arm"));
    write(whoLocked, by(frame, "lock"));
    write(whoStill, stillWords(frame));
    for (const [key, single] of singles) {
      single.set(frame.stills.some((row) => `${row.kind} ${row.name}` === key));
    }
    mark(document.body, "data-locked", Boolean(frame.bridge.locked));
    for (const button of [armed.button]) button.disabled = frame.bridge.locked && frame.bridge.armed;
  };
}

function buildSingles(host, singles, scene, app) {
  host.replaceChildren();
  singles.clear();
  const rows = [...scene.trusses.map((name) => ["truss", name]), ...scene.heads.map((head) => ["fixture", head.name])];
  for (const [kind, name] of rows) {
    const words = kind === "truss" ? `Still: truss ${name}` : `Still: ${name}`;
    const single = switchButton(words, (on) => hold(app, kind, name, on), ["", "dark, no motion"]);
    singles.set(`${kind} ${name}`, single);
    host.append(single.button);
  }
}

async function arm(app, on) {
  if (on) {
    const text = "Heads move without warning once this is on. Has one person seen the whole rig, called it, and heard everybody clear?";
    if (!(await sure(text, "Everybody is clear: arm", "Not yet"))) return;
  } else if (!(await sure("The streams end and the rig is no longer ours. Stop sending?", "Stop sending", "Go on"))) {
    return;
  }
  app.link.osc("/arm", on ? 1 : 0);
}

// On at once. Off only after a yes: people may be aloft; another's switch needs a second, stronger yes.
async function hold(app, kind, name, on) {
  const address = kind === "all" ? "/still" : `/${kind}/${name}/still`;
  if (on) return app.link.osc(address, 1);
  const row = app.store.frame?.stills.find((other) => other.kind === kind && other.name === name);
  const mine = row?.who.split(", ").every((who) => who.split("@")[0] === app.store.me.name);
  if (mine) {
    if (await sure("Is nobody aloft, and nobody at a head? Then they may move again.", "Nobody is aloft", "Stay still")) app.link.osc(address, 0);
    return true;
  }
  const text = `This was set by ${row?.who ?? "somebody else"}. Ask them first. Is nobody aloft?`;
  if (await sure(text, "Nobody is aloft: clear it for them", "Stay still")) app.link.osc(address, 0, "override");
  return true;
}

export function by(frame, what) {
  const row = frame.by[what];
  return row ? `last by ${row.who}, ${ago(row.ago)}` : "";
}

export function ago(seconds) {
  if (seconds < 90) return `${Math.max(0, Math.round(seconds))} s ago`;
  if (seconds < 5400) return `${Math.round(seconds / 60)} min ago`;
  return `${(seconds / 3600).toFixed(1)} h ago`;
}

function stillWords(frame) {
  return frame.stills.map((row) => `${row.kind === "all" ? "everything" : `${row.kind === "truss" ? "truss " : ""}${row.name}`} by ${row.who}`).join("; ");
}

