// Practice: a performer of the simulated venue walks, and the hand that follows it is scored.

import { COLOUR } from "./colours.js";
import { el, mark, show, write } from "./dom.js";

const KINDS = { stand: "Stands, here and there", stroll: "Strolls", dance: "Dances", run: "Runs" };
const BEST = "practice best";
const SIZE_PX = 11;

// The list of the Follow screen's side; `app.practise` is the key's and pad's way to it.
export function practiceList(app) {
  const kind = el("select", { "aria-label": "How the performer moves" }, ...Object.entries(KINDS).map(([value, word]) => el("option", { value }, word)));
  kind.value = "stroll";
  const button = el("button", { type: "button", class: "practise" }, "Practise");
  const figures = el("dl", { class: "score", "aria-label": "Score of the hand" });
  const values = Object.fromEntries([["rms", "Off by"], ["share", "In the pool"], ["delay", "Late by"], ["best", "Best so far"]].map(([key, word]) => {
    const value = el("dd", {}, "–");
    figures.append(el("div", {}, el("dt", {}, word), value));
    return [key, value];
  }));
  const card = el("section", { class: "practice", "aria-label": "Practice" },
    el("p", { class: "quiet" }, "The simulated venue's performer walks, and you follow it. The figures are of the last 20 s."),
    el("div", { class: "row" }, kind, button), figures);
  app.practise = () => toggle(app, kind.value);
  button.addEventListener("click", () => app.practise());
  kind.addEventListener("change", () => app.store.frame?.practice && begin(app, kind.value));
  app.store.on("news", (news) => news.what === "practice" && app.say(news.text, "warning"));
  app.store.on("frame", ({ practice }) => {
    write(button, practice ? "End practice" : "Practise");
    mark(button, "aria-pressed", Boolean(practice));
    show(figures, practice);
    if (practice) writeScore(app, values, practice);
  });
  return card;
}

function writeScore(app, values, { kind, rms, share, delay, seconds }) {
  const known = typeof rms === "number";
  write(values.rms, known ? `${Math.round(rms * 100)} cm` : "–");
  write(values.share, known ? `${Math.round(share * 100)} %` : "–");
  write(values.delay, typeof delay === "number" ? `${delay.toFixed(2)} s` : "–");
  const all = { ...app.settings.get(BEST, {}) };
  if (known && seconds >= 15 && !(all[kind] <= rms)) {
    all[kind] = rms;
    app.settings.set(BEST, all);
  }
  write(values.best, all[kind] ? `${Math.round(all[kind] * 100)} cm` : "after 15 s");
}

async function toggle(app, kind) {
  if (!app.store.scene?.practice) return app.say("Practice needs the simulated venue: tetherlight demo, or panel --venue ADDRESS:PORT.", "warning");
  if (app.store.frame?.practice) return end(app);
  return begin(app, kind);
}

// The performer becomes ours: the venue stops telling the bridge where it is, and this hand takes the target.
async function begin(app, kind) {
  const target = app.hand.target;
  try {
    await app.link.ask("practice", { kind, target });
    if (!app.hand.mine) app.link.osc(`/target/${target}/take`);
  } catch (error) {
    app.say(error.message, "warning");
  }
}

async function end(app) {
  try {
    await app.link.ask("practice", { kind: null });
  } catch (error) {
    app.say(error.message, "warning");
  }
}

// The performer on plan and seat view, told from every mark and target by its shape and name.
export function drawPerformer(context, view, frame, labels) {
  const at = frame.practice?.performer && view.project(frame.practice.performer);
  if (!at) return;
  const [x, y] = at;
  context.strokeStyle = COLOUR.hand;
  context.fillStyle = COLOUR.ground;
  context.lineWidth = 3;
  context.beginPath();
  for (const [dx, dy] of [[0, -SIZE_PX], [SIZE_PX, 0], [0, SIZE_PX], [-SIZE_PX, 0]]) context.lineTo(x + dx, y + dy);
  context.closePath();
  context.fill();
  context.stroke();
  labels.write("performer", x, y, { colour: COLOUR.hand, weight: 700, gap: SIZE_PX + 6 });
}
