// The screen Focus session: the plan with heads and marks, and beside it the steps in their order.

import { el, mark, show, write } from "./dom.js";
import { FramePart } from "./focusframe.js";
import { FocusList } from "./focuslist.js";
import { Pad } from "./focuspad.js";
import { FocusPlan } from "./focusplan.js";
import { PosesPart } from "./focusposes.js";
import { RoomyPlan } from "./focusroom.js";
import { Session } from "./focussession.js";
import { Bar, LightPart } from "./focussteps.js";
import { WalkPart } from "./focuswalk.js";
import { choice, yes } from "./focusyes.js";

const PARTS = [["aim", "Aim"], ["list", "Choose"], ["walk", "Walk"], ["poses", "Poses"]];
const REFRESH_MS = 400;

export function mount(root, app) {
  const session = new Session(app);
  const stage = el("div", { class: "f-stage" });
  const plan = new RoomyPlan(stage, app.store);
  const bar = new Bar(app, session);
  const poses = new PosesPart(app, session, plan);
  new FocusPlan(app, session, plan);
  session.pad = new Pad(app, session);
  const aim = { element: el("div", {}, session.pad.element, bar.fit, new LightPart(app, session).element) };
  const list = new FocusList(app, session);
  const framing = el("button", { type: "button", class: "f-big", onclick: () => choosePart("frame") }, "Frame of an input");
  app.store.on("scene", (scene) => show(framing, scene.inputs.length));
  list.element.prepend(el("div", { class: "f-row" },
    el("button", { type: "button", class: "f-big", onclick: () => edit(app) }, "Edit the stage"), framing));
  const parts = { aim, list, walk: new WalkPart(app, session), poses, frame: new FramePart(app, session) };
  const body = el("div", { class: "f-part" }, ...Object.values(parts).map((part) => part.element));
  const header = now(app, session);
  const tabs = choice("What is seen below", PARTS, (name) => choosePart(name));
  tabs.row.append(poses.solve);
  const side = el("aside", { class: "f-side", "aria-label": "Steps" }, header, tabs.row, body, bar.element);
  root.append(el("div", { class: "f-plan" }, stage, poses.legend), side);

  function choosePart(name) {
    tabs.set(name);
    for (const [other, part] of Object.entries(parts)) show(part.element, other === name);
    for (const element of [header, bar.element, poses.solve]) show(element, name !== "frame"); // of heads
    body.scrollTop = 0;
  }
  choosePart("aim");
  app.focusSession = session;
  app.focusPart = choosePart;
  leaving(app, session);
  setInterval(() => {
    const state = session.frame();
    const unsure = session.hangs.by === null || (state?.in_hand && !state.hit);
    if (app.tab === "focus" && !document.hidden && unsure) session.refresh();
  }, REFRESH_MS);
}

// The editor is fetched when it is wanted: it is a fifth of the page.
async function edit(app) {
  try {
    (await import("./edit.js")).openEditor(app);
  } catch (error) {
    app.say(`The editor could not be fetched: ${error.message}`, "error");
  }
}

// What is in hand, and how far the session is.
function now(app, session) {
  const what = el("p", { class: "f-what" });
  const far = el("p", { class: "f-far", title: "Sightings made, and those of all chosen heads and marks" });
  const state = el("span", { class: "f-state" });
  const tell = () => {
    write(what, session.head ? `${session.head} on ${session.mark}` : "No head, no mark");
    write(far, `${session.done} of ${session.total}`);
    mark(what, "data-long", what.textContent.length > 16);
    const frame = session.frame();
    const text = !frame ? "" : frame.in_hand ? (frame.level > 0.003 ? "in hand, lit" : "in hand, dark") : "not in hand";
    write(state, `${session.sighted(session.head, session.mark) ? "sighted ✓, " : ""}${text}`);
  };
  session.on(tell);
  app.store.on("frame", tell);
  return el("header", { class: "f-now" }, what, state, far);
}

// Nothing is left behind unasked: heads in hand are given back, or kept on purpose.
function leaving(app, session) {
  let was = app.tab;
  app.onTab.push(async (name) => {
    const left = was === "focus" && name !== "focus";
    was = name;
    session.showing = false;
    const { mine } = session;
    if (!left || !mine.length) return;
    const text = mine.length === 1 ? `${mine[0]} is still in your hand.` : `${mine.length} heads are still in your hands.`;
    if (await yes(`${text} Give ${mine.length === 1 ? "it" : "them"} back, so that they follow?`, { yes: "Give back", no: "Keep in hand" })) session.giveAllBack();
    else if (session.alone) session.setAlone(false);
  });
  window.addEventListener("beforeunload", (event) => {
    if (session.mine.length) event.preventDefault();
  });
}
