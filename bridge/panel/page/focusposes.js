// What the sightings say: how well they fit, what is doubtful, where another helps; and Solve, with what it changed.

import { el, mark, show, write } from "./dom.js";
import { drawErrorMap, makeLegend } from "./errormap.js";
import { big, choice, cm, yes } from "./focusyes.js";
import { comparison, doubts, fitOf, helpWords, told, untrustedList } from "./focuswords.js";
import { write as writeOn } from "./planstill.js";

const AGAIN_MS = 1000;
const MOST_HELPS = 3;

export class PosesPart {
  constructor(app, session, plan) {
    Object.assign(this, { app, session, plan, found: null, map: null, mapOf: "", shown: "none", notes: [], changedBy: null });
    const legend = makeLegend();
    this.legend = legend.element;
    this.legendTitle = legend.title;
    this.solve = big("", () => this.startSolve(), { class: "f-big f-main f-solve", "aria-label": "Solve" });
    this.solve.append(el("span", {}, "Solve"), el("small", {}));
    this.state = el("p", { class: "f-told", role: "status" });
    this.own = el("div", {});
    this.helps = el("div", { class: "f-helps" });
    this.maps = choice("Map of the aim error", [["none", "No map"], ["head", "This head"], ["worst", "Worst head"]], (name) => this.showMap(name));
    this.changes = el("div", {});
    this.untrusted = el("div", {});
    this.back = big("Back to the poses before", () => this.goBack());
    this.element = el("div", { class: "f-poses" },
      this.state, this.own,
      el("h2", {}, "Where the next sighting helps most"), this.helps,
      el("h2", {}, "Predicted aim error on the plan"), this.maps.row,
      el("h2", {}, "Before and after"), this.changes, this.untrusted, this.back);
    this.maps.set("none");
    plan.layers.push((context) => this.draw(context));
    app.store.on("news", (news) => this.heard(news));
    app.store.on("scene", () => this.build());
    session.on((what) => {
      if (what === "choice") this.build();
    });
    app.onTab.push((name) => name === "focus" && !this.found && this.fetch({ fresh: true }));
    session.fit = (head, name) => {
      const { short, long, known } = fitOf(this.found, head, name);
      const best = this.bestFor(head);
      return known ? { short: `${short} ${best}`, long: [long, ...doubts(this.found, head), best].join(" ") } : null;
    };
    setInterval(() => this.tick(), AGAIN_MS / 2);
  }

  // What the panel has solved, without writing anything

  async fetch(data = {}) {
    try {
      this.found = await this.app.link.ask("solving", data);
      await this.fetchMap();
    } catch {
      return; // no line: the next news asks again
    }
    this.build();
    this.session.changed("fit");
  }

  async fetchMap() {
    const head = this.session.head;
    this.mapOf = this.shown === "head" ? head : "";
    if (this.shown === "worst") this.map = this.found?.solve?.maps?.worst ? { ...this.found.solve.maps, p95: this.found.solve.maps.worst.p95 } : null;
    else if (this.shown === "head") {
      try {
        this.map = await this.app.link.ask("error-map", { head });
      } catch {
        this.map = null;
      }
    } else this.map = null;
    this.writeLegend();
    this.plan.dirty = true;
  }

  showMap(name) {
    this.shown = name;
    this.maps.set(name);
    this.fetchMap();
  }

  writeLegend() {
    const who = this.shown === "worst" ? "the worst head" : this.session.head;
    write(this.legendTitle, this.map ? `Predicted aim error, cm (95 %): ${who}` : `No map of ${who} yet: sight two marks and more.`);
    show(this.legend, this.shown !== "none");
  }

  heard(news) {
    if (news.old) return;
    if (news.what === "solving") this.takeSolving(news);
    if (news.what === "solve") this.takeSolve(news);
    if (news.what === "accepted") this.app.say(`${news.sender} said yes: the pose of ${news.fixture} is taken.`);
    if (news.what === "back") this.app.say(`${news.sender}: the poses before are in use again. ${news.text}`);
  }

  takeSolving(news) {
    const { state } = news;
    if (state === "done" || state === "failed") {
      write(this.state, state === "failed" ? `Not solved yet: ${news.text}` : news.text);
      this.fetch();
    } else write(this.state, `Looking how it fits: ${news.seconds} s of about ${news.expected_s} s ...`);
  }

  // Solve: written and taken by the bridge

  startSolve() {
    this.notes = [];
    this.changedBy = this.found?.compared_with_file ?? null;
    this.app.link.osc("/sight/solve");
  }

  takeSolve(news) {
    if (news.word === "started") {
      this.solvingSince = performance.now();
      this.changedBy ??= this.found?.compared_with_file ?? null;
    } else if (news.word === "note") this.notes.push(news.text);
    else {
      this.solvingSince = 0;
      this.ended = `${{ done: "Solved", untrusted: "Solved in part", failed: "Not solved" }[news.word] ?? news.word}: ${news.text}`;
      this.app.say(this.ended, news.word === "done" ? "note" : "warning");
      this.app.focusPart("poses");
      this.build();
    }
    this.tick();
  }

  tick() {
    const seconds = this.solvingSince ? (performance.now() - this.solvingSince) / 1000 : 0;
    write(this.solve.lastChild, seconds ? `running, ${seconds.toFixed(0)} s` : "");
    this.solve.disabled = Boolean(seconds);
    if (this.shown === "head" && this.mapOf !== this.session.head && this.app.tab === "focus") this.fetchMap();
  }

  async goBack() {
    if (await yes("Go back to the poses before the last solve? Heads aim by them at once.", { yes: "Go back" })) this.app.link.osc("/sight/back");
  }

  async accept(name) {
    if (await yes(`${name} is not trusted. Aim with this pose all the same?`, { yes: "Take it", no: "Leave it" })) this.app.link.osc(`/sight/${name}/accept`);
  }

  // What is seen

  build() {
    const { session, found } = this;
    const { head } = session;
    if (!this.app.store.scene) return;
    const fit = fitOf(found, head, session.mark);
    this.own.replaceChildren(el("h2", {}, head), ...fit.lines.map((line) => el("p", {}, line)), ...doubts(found, head).map((line) => el("p", { class: "f-doubt" }, line)));
    const { text, best } = this.help();
    this.helps.replaceChildren(el("p", { class: "f-note" }, text), ...best.map((one) => this.helpButton(one)));
    this.buildChanges();
    const names = this.app.store.scene.heads.filter((one) => one.on_disk && !one.on_disk.trusted && !one.on_disk.accepted);
    this.untrusted.replaceChildren(...untrustedList(found, names, (name) => this.accept(name)));
    this.plan.dirty = true;
  }

  bestFor(head) {
    const best = this.found?.next?.fixtures?.[head]?.candidates?.[0];
    return best && best.after !== null ? `Next helps most: ${helpWords(best)}.` : "";
  }

  help() {
    const next = this.found?.next?.fixtures?.[this.session.head];
    return { text: next?.text ?? "Known after the first sightings.", best: (next?.candidates ?? []).slice(0, MOST_HELPS) };
  }

  helpButton(one) {
    const words = helpWords(one);
    if (one.mark === null) return el("p", { class: "f-place" }, words);
    return big(words, () => {
      this.session.goTo(this.session.head, one.mark);
      this.session.near();
      this.app.focusPart("aim");
    });
  }

  buildChanges() {
    const { found } = this;
    const ended = this.ended ? [el("p", { class: "f-ended" }, this.ended)] : [];
    const notes = this.ended ? told(this.notes).map((note) => el("p", { class: "f-doubt" }, note)) : [];
    const solved = this.ended && this.changedBy;
    const rows = solved ? this.changedBy : found?.compared_with_file ?? {};
    const what = solved ? "What the last Solve changed:" : "Poses in the file, and what Solve would make of the sightings:";
    this.changes.replaceChildren(...ended, el("p", { class: "f-note" }, what), comparison(rows, this.session.head), ...notes);
  }

  draw(context) {
    const marks = Object.values(this.app.store.scene?.marks ?? {}).filter((one) => one.at);
    if (this.map) drawErrorMap(context, this.plan, this.map, marks.map((one) => this.plan.toPixels(one.at[0], one.at[1])));
    const [best] = this.help().best;
    if (!best || best.after === null) return;
    const [x, y] = this.plan.toPixels(best.at[0], best.at[1]);
    context.strokeStyle = "#7cc4b2";
    context.lineWidth = 3;
    context.beginPath();
    for (const [dx, dy] of [[0, -34], [34, 0], [0, 34], [-34, 0]]) context.lineTo(x + dx, y + dy);
    context.closePath();
    context.stroke();
    writeOn(context, `next: ${cm(best.before)} → ${cm(best.after)}`, Math.max(90, Math.min(this.plan.width - 90, x)), y < 70 ? y + 58 : y - 44, "#7cc4b2", { weight: 700, size: 14 });
  }
}
