// The frame of a tracking input from marks: which point stands on which mark is kept, then the frame is solved.

import { el, mark, show, write } from "./dom.js";
import { big, cm, yes } from "./focusyes.js";

const ASK_MS = 300;
const WATCH_MS = 1300;
const STILL_M = 0.05; // less is a tag that stands on a mark and trembles
const SHARE_M = 5; // ADM-OSC tells shares of a room, some metres each
const OLD_MS = 1000;
const UNANSWERED_MS = 5000;
const MOST_LINES = 8;
const HOW = { recorded: "good", solved: "good", forgotten: "good", doubted: "bad", warning: "bad", unverified: "bad" };

export class FramePart {
  constructor(app, session) {
    Object.assign(this, { app, session, input: "", points: [], seen: [], awaited: 0, asked: "" });
    this.inputs = this.choose("Input", (name) => this.turnTo(name));
    this.point = this.choose("Point", () => this.writeLive());
    this.mark = this.choose("Mark", (name) => session.goTo(session.head, name)); // seen on the plan too
    this.state = el("p", { class: "f-state-of" }, el("span", { class: "shape", "aria-hidden": "true" }), el("span"));
    this.live = el("p", { class: "f-state-of" }, el("span", { class: "shape", "aria-hidden": "true" }), el("span"));
    this.told = el("div", { class: "f-told f-lines", role: "status" });
    this.kept = el("tbody");
    this.none = el("p", { class: "f-note" }, "Nothing is kept on marks yet.");
    const heads = ["Mark", "Point", "Off"].map((head) => el("th", { scope: "col" }, head));
    this.table = el("table", { "aria-label": "Kept on marks" }, el("thead", {}, el("tr", {}, ...heads, el("td"))), this.kept);
    this.keep = big("Keep point on mark", () => this.record(), { class: "f-big f-main" });
    this.element = el("div", { class: "f-frame" },
      el("h2", {}, "Frame of an input"),
      el("p", { class: "f-note" }, "Hold a tag still on a mark for a second, then keep it. Three marks or more, far apart and in no line; the tag always at one height. Then solve."),
      this.inputs.row, this.state,
      el("div", { class: "f-pair" }, this.point.row, this.mark.row),
      this.live, this.keep,
      el("div", { class: "f-row" }, big("Solve frame", () => this.solve()), big("Forget frame", () => this.forget())),
      this.told, el("h2", {}, "Kept on marks"), this.none, this.table);
    app.store.on("scene", (scene) => this.build(scene));
    app.store.on("news", (news) => this.heard(news));
    session.on(() => this.turnToMark());
    setInterval(() => this.look(), ASK_MS);
  }

  choose(label, change) {
    const select = el("select", { class: "f-big", "aria-label": label, onchange: () => change(select.value) });
    const row = el("label", { class: "f-choose" }, el("span", {}, label), select);
    return { row, select, names: [] };
  }

  // The options anew where they are others; what was chosen stays.
  fill(one, names, word = (name) => name) {
    const texts = names.map(word);
    if (one.names.join("\n") !== texts.join("\n")) {
      const chosen = one.select.value;
      one.names = texts;
      one.select.replaceChildren(...names.map((name, number) => el("option", { value: name }, texts[number])));
      if (names.includes(chosen)) one.select.value = chosen;
    }
  }

  build(scene) {
    const names = scene.inputs.map((input) => input.name);
    this.fill(this.inputs, names);
    this.fill(this.mark, Object.keys(scene.marks).filter((name) => scene.marks[name].at));
    this.turnToMark();
    if (!names.includes(this.input)) this.turnTo(names[0] ?? "");
    else this.writeKept();
  }

  turnTo(name) {
    Object.assign(this, { input: name, points: [], seen: [], awaited: 0 });
    this.told.replaceChildren();
    this.fill(this.point, []);
    this.writeKept();
    this.writeLive();
    this.look();
  }

  // The mark in hand, also one that was tapped on the plan.
  turnToMark() {
    const { mark: name } = this.session;
    if (this.mark.names.includes(name)) this.mark.select.value = name;
    this.writeKept();
  }

  get of() {
    return this.app.store.scene?.inputs.find((input) => input.name === this.input) ?? null;
  }

  // What is heard now

  async look() {
    const { app, input } = this;
    if (this.awaited && performance.now() - this.awaited > UNANSWERED_MS) this.unanswered();
    if (app.tab !== "focus" || document.hidden || !this.element.checkVisibility() || !input || !app.link.open) return;
    try {
      const { points } = await app.link.ask("points", { input });
      if (input === this.input) this.take(points);
    } catch {
      // the line was cut: it comes back, and is asked again
    }
  }

  take(points) {
    const now = performance.now();
    this.points = points;
    const chosen = this.point.select.value;
    const names = points.map(({ point }) => point);
    const heard = new Set(names);
    if (chosen && !heard.has(chosen)) names.push(chosen);
    this.fill(this.point, names, (name) => (heard.has(name) ? name : `${name}, not heard`));
    const one = this.chosen;
    if (this.watched !== this.point.select.value) this.seen = [];
    this.watched = this.point.select.value;
    if (one) this.seen.push({ now, at: one.at });
    this.seen = this.seen.filter((each) => now - each.now < WATCH_MS);
    this.writeLive();
  }

  get chosen() {
    return this.points.find(({ point }) => point === this.point.select.value) ?? null;
  }

  get moved() {
    const unit = this.of?.protocol === "adm-osc" ? SHARE_M : 1;
    const last = this.seen.at(-1)?.at;
    return last ? Math.max(...this.seen.map(({ at }) => unit * Math.hypot(...at.map((value, i) => value - last[i])))) : 0;
  }

  writeLive() {
    const [shape, text] = this.liveWords();
    mark(this.live, "data-shape", shape);
    write(this.live.lastChild, text);
  }

  liveWords() {
    const name = this.point.select.value;
    if (!name) return ["ring", `No point of ${this.input} is heard.`];
    const one = this.chosen;
    if (!one || one.age > OLD_MS) return ["triangle", `${name} is not heard: is its tag on?`];
    const where = `${one.at.map((value) => value.toFixed(2)).join(" ")} in its own axes, ${Math.round(one.rate)}\u00a0Hz`;
    return this.moved > STILL_M ? ["triangle", `${name} moves: ${where}`] : ["dot", `${name} stands still: ${where}`];
  }

  // What is done

  record() {
    if (!this.point.select.value) return this.say(`No point of ${this.input} is heard.`, "bad");
    return this.send("record", this.mark.select.value, this.point.select.value);
  }

  solve() {
    if (!this.of?.records.length) return this.say("Nothing is kept on marks yet: a frame needs two marks, better three or more.", "bad");
    return this.send("solve");
  }

  async forget() {
    const text = `Forget the frame of ${this.input} and all that is kept on marks for it? It is heard then, and not followed.`;
    if (await yes(text, { yes: "Forget it" })) this.send("forget");
  }

  send(word, ...args) {
    this.told.replaceChildren();
    this.awaited = performance.now();
    if (!this.app.link.osc(`/frame/${this.input}/${word}`, ...args)) this.unanswered();
  }

  unanswered() {
    this.awaited = 0;
    this.say("No answer from the bridge. Press again.", "bad");
  }

  heard(news) {
    if (news.old) return;
    const refused = news.what === "refused" && news.address.startsWith(`/frame/${this.input}/`);
    if (!refused && (news.what !== "frame" || news.input !== this.input)) return;
    this.awaited = 0;
    this.say(refused ? news.text : sentence(news), refused ? "bad" : HOW[news.word] ?? "");
  }

  say(text, how) {
    this.told.append(el("p", { "data-how": how }, text));
    while (this.told.children.length > MOST_LINES) this.told.firstChild.remove();
  }

  // What is kept

  writeKept() {
    const { of } = this;
    const records = of?.records ?? [];
    mark(this.state, "data-shape", of?.framed ? "dot" : "triangle");
    write(this.state.lastChild, !of ? "This show has no tracking input." : stateWords(of));
    show(this.none, !records.length);
    show(this.table, records.length);
    const key = JSON.stringify([this.input, records, this.mark.select.value]);
    if (key === this.written) return;
    this.written = key;
    this.kept.replaceChildren(...records.map((record) => this.row(record)));
  }

  row({ mark: name, point, off, used }) {
    const drop = big("Drop", () => this.send("forget", name), { "aria-label": `Drop what is kept on ${name}` });
    const far = off === null ? "no frame yet" : `${cm(off)}${used ? "" : ", not solved yet"}`;
    return el("tr", { class: name === this.mark.select.value ? "f-own" : "" },
      el("th", { scope: "row" }, name), el("td", {}, point), el("td", {}, far), el("td", {}, drop));
  }
}

function stateWords({ name, protocol, framed, sigma }) {
  if (!framed) return `${name} (${protocol}) has no frame: heard, not followed.`;
  return `${name} (${protocol}) has a frame${sigma ? `, places good to ${cm(sigma)}` : ""}.`;
}

const WORDS = { recorded: "Kept", solved: "Solved", unverified: "Solved, not checked", doubted: "Not taken", warning: "Look", note: "Note", forgotten: "Forgotten" };

function sentence({ word, text }) {
  return `${WORDS[word] ?? word}: ${text}`;
}
