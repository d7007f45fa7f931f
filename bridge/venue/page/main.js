// Joins the stream, the drawing, the list and the hands.

import { CloseUp } from "./closeup.js";
import { listen } from "./controls.js";
import { Drawing } from "./drawing.js";
import { Trails } from "./people.js";
import { Readouts } from "./readouts.js";
import { Stream } from "./stream.js";

const byId = (id) => document.getElementById(id);
const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
const canvas = byId("drawing");
const drawing = new Drawing(canvas);
const closeUp = new CloseUp(byId("close-up-drawing"));
const trails = new Trails();
const readouts = new Readouts(choose);
const state = { scene: null, frame: null, believe: false, chosen: -1, dirty: true, pictures: 0 };
const pace = { began: performance.now(), drawn: 0, shown: 0, ms: 0, last: 0, drew: false, idle: 17 };

function choose(i) {
  state.chosen = state.chosen === i ? -1 : i;
  readouts.choose(state.chosen);
  state.dirty = true;
}

function believe() {
  state.believe = !state.believe;
  byId("believe").setAttribute("aria-checked", String(state.believe));
  readouts.written = 0;
  state.dirty = true;
}

function view(name) {
  drawing.look(name, performance.now(), calm.matches);
  for (const button of document.querySelectorAll("[data-view]")) {
    button.setAttribute("aria-pressed", String(button.dataset.view === name));
  }
  state.dirty = true;
}

function act(run) {
  return (...values) => {
    run(...values);
    state.dirty = true;
  };
}

const whole = act(() => view(drawing.view));
listen(canvas, {
  drag: act((dx, dy, move) => drawing.drag(dx, dy, move)),
  zoom: act((factor, x, y) => drawing.zoom(factor, x, y)),
  choose: act((i) => choose(i)),
  view, whole, believe,
});
byId("believe").addEventListener("click", believe);
byId("nearer").addEventListener("click", act(() => drawing.zoom(0.8)));
byId("farther").addEventListener("click", act(() => drawing.zoom(1.25)));
byId("whole").addEventListener("click", whole);
for (const button of document.querySelectorAll("[data-view]")) {
  button.addEventListener("click", () => view(button.dataset.view));
}
new ResizeObserver(act(() => drawing.resize())).observe(canvas);

const stream = new Stream(`ws://${location.host}/stream`, {
  onScene(scene) {
    const text = JSON.stringify(scene);
    if (text === state.sceneText) return; // the same venue is back: keep the view as it is
    Object.assign(state, { scene, sceneText: text, frame: null, chosen: -1, dirty: true });
    trails.clear();
    byId("venue-name").textContent = scene.name || "Simulated venue";
    document.title = `${scene.name || "Simulated venue"}: simulated venue`;
    readouts.build(scene);
    drawing.show(scene);
  },
  onFrame(frame) {
    state.frame = frame;
    trails.note(frame);
    state.dirty = true;
  },
});

function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds || 0));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

// How many sources the venue hears: a number, or a list of their names.
function sources(value) {
  if (Array.isArray(value)) return value.length ? `hears ${value.join(", ")}` : "hears nobody";
  if (Number.isFinite(value)) return value === 1 ? "hears 1 source" : `hears ${value || "no"} sources`;
  return value ? `hears ${value}` : "";
}

function writeFacts(frame, trouble) {
  const parts = frame ? [
    clock(frame.t), sources(frame.sources),
    Number.isFinite(frame.fps) ? `${Math.round(frame.fps)} frames / s` : "",
    `${pace.shown} drawn`, frame.note ?? "",
  ] : [trouble ? "No data" : "Waiting for the venue"];
  const text = parts.filter(Boolean).join("  ·  ");
  if (byId("facts").textContent !== text) byId("facts").textContent = text;
  const people = (frame?.performers ?? []).map((p) => `${p.name} ${p.inside === false ? "outside" : "inside"}`).join(", ");
  const label = `Drawing of the venue, ${drawing.view} view. ${people || "No performer"}. Errors are in the list.`;
  if (canvas.getAttribute("aria-label") !== label) canvas.setAttribute("aria-label", label);
}

const LATE_MS = 28;

// A picture was late when the browser's next turn after it came much later than after a turn without one.
function measurePace(now) {
  const gap = now - pace.last;
  pace.last = now;
  if (pace.drew) drawing.light.learn(gap > Math.max(LATE_MS, 1.6 * pace.idle));
  else pace.idle += (gap - pace.idle) * 0.1;
  pace.drew = false;
  if (now - pace.began < 1000) return;
  pace.shown = Math.round((pace.drawn * 1000) / (now - pace.began));
  Object.assign(pace, { began: now, drawn: 0 });
}

function writeBanner(trouble) {
  const banner = byId("banner");
  const text = byId("banner-text");
  if (text.textContent !== trouble) text.textContent = trouble;
  if (banner.hidden === Boolean(trouble)) {
    banner.hidden = !trouble;
    byId("alert").textContent = trouble ? "No data from the venue. This page goes on by itself when they come." : "";
    state.dirty = true;
  }
}

function tick(now) {
  requestAnimationFrame(tick);
  const trouble = stream.trouble;
  writeBanner(trouble);
  measurePace(now);
  readouts.write(state.frame, state.believe, now);
  if (now - (state.facts ?? 0) > 250) {
    state.facts = now;
    writeFacts(state.frame, trouble);
  }
  if (!state.dirty && !drawing.turn) return;
  state.dirty = false;
  const began = performance.now();
  const { believe: shown, chosen, scene, frame } = state;
  drawing.draw(now, frame, trails, { believe: shown, chosen, silent: Boolean(trouble) });
  if (scene) closeUp.draw(drawing.camera, frame, { believe: shown, chosen });
  pace.ms += (performance.now() - began - pace.ms) * 0.1;
  pace.drawn += 1;
  pace.drew = true;
  state.pictures += 1;
}

drawing.resize();
requestAnimationFrame(tick);

// For tests and for the curious: what the page knows, read only by hand.
window.venue = { state, drawing, stream, pace };
