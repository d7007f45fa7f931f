// Practice: a performer of the simulated venue walks, and the hand that follows it is scored.

import { COLOUR } from "./colours.js";
import { el, mark, show, write } from "./dom.js";
import { write as writeOn } from "./planstill.js";

const KINDS = { stand: "Stands, here and there", stroll: "Strolls", dance: "Dances", run: "Runs" };
const BEST = "practice best";

export function mountPractice(root, app) {
  const kind = el("select", { "aria-label": "How the performer moves" }, ...Object.entries(KINDS).map(([value, word]) => el("option", { value }, word)));
  kind.value = "stroll";
  const button = el("button", { type: "button", class: "practise" }, "Practise");
  const figures = el("dl", { class: "score", "aria-label": "Score of the hand" });
  const values = Object.fromEntries([["rms", "Off by"], ["share", "In the pool"], ["delay", "Late by"], ["best", "Best so far"]].map(([key, word]) => {
    const value = el("dd", {}, "–");
    figures.append(el("div", {}, el("dt", {}, word), value));
    return [key, value];
  }));
  const card = el("section", { class: "practice", "aria-label": "Practice", hidden: true }, el("h2", {}, "Practice"), el("div", { class: "row" }, kind, button), figures);
  root.append(card);
  app.practise = () => toggle(app, kind.value);
  button.addEventListener("click", () => app.practise());
  kind.addEventListener("change", () => app.store.frame?.practice && begin(app, kind.value));
  app.store.on("scene", (scene) => show(card, scene.practice));
  app.store.on("news", (news) => news.what === "practice" && app.say(news.text, "warning"));
  app.store.on("frame", ({ practice }) => {
    write(button, practice ? "End practice" : "Practise");
    mark(button, "aria-pressed", Boolean(practice));
    show(figures, practice);
    if (practice) writeScore(app, values, practice);
  });
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

// A layer of the plan: the performer, told from every mark and target by its shape and name.
export function drawPerformer(context, plan, frame) {
  const place = frame?.practice?.performer;
  if (!place) return;
  const [x, y] = plan.toPixels(place[0], place[1]);
  const size = Math.max(7, 0.25 * plan.view.scale);
  context.strokeStyle = COLOUR.hand;
  context.fillStyle = COLOUR.ground;
  context.lineWidth = 3;
  context.beginPath();
  context.moveTo(x, y - size);
  context.lineTo(x + size, y);
  context.lineTo(x, y + size);
  context.lineTo(x - size, y);
  context.closePath();
  context.fill();
  context.stroke();
  writeOn(context, "performer", x, y + size + 12, COLOUR.hand, { weight: 700 });
}
