// The sheet over the screen Rig: a file of another program is looked at, asked about, and taken over or left.

import { el, mark, show, write } from "./dom.js";
import { ImportAsks } from "./importasks.js";
import { changesOf, sentences, skippedText } from "./importlist.js";
import { Sending } from "./importsend.js";
import { onPress } from "./press.js";

const LONG_MS = 200000; // another page's file may be read first, a minute each
const KIND = { gdtf: "A fixture type", mvr: "A drawing with its rig", csv: "A list of heads" };
const CAUTION = "Imported profiles are unproven: first light low, nobody under or in front of the heads.";
const LOCKED = "Locked for the show: Lock on Rig opens it.";
const counted = (number, word) => `${number} ${word}${number === 1 ? "" : "s"}`;

export class ImportSheet {
  // `returnTo` gets the keyboard afterwards.
  constructor(app, file, returnTo) {
    Object.assign(this, { app, file, returnTo, found: null, digest: "", ticket: "", state: "sending", looks: 0, retry: "", closed: false });
    this.build();
    this.ends = [app.store.on("frame", () => this.write())];
    document.body.append(this.dialog);
    this.dialog.showModal();
    this.leaving.focus();
    this.send();
  }

  build() {
    const { file, app } = this;
    const kind = file.name.split(".").pop().toLowerCase();
    const button = (word, run, kindOf = "") => onPress(el("button", { type: "button", class: `big ${kindOf}` }, word), run);
    this.asks = new ImportAsks(() => this.look());
    this.word = el("span", {});
    this.told = el("p", { class: "i-state", role: "status" }, el("span", { class: "shape", "aria-hidden": "true" }), this.word);
    this.bar = el("progress", { max: 1, value: 0, "aria-label": "Sent" });
    this.no = el("div", { class: "i-no", role: "alert" });
    this.lists = el("div", { class: "i-lists" });
    this.body = el("div", { class: "i-body", tabindex: "0", role: "region", "aria-label": "What is in the file" }, this.no, this.asks.element, this.lists);
    this.why = el("p", { class: "i-why", id: "import-why" });
    this.leaving = button("Leave it", () => this.close());
    this.taking = button("Take it over", () => this.take(), "i-take");
    this.again = button("Send it again", () => (this.retry === "look" ? this.look() : this.send()));
    this.reloading = button("Reload", () => this.reload(), "i-take");
    mark(this.taking, "aria-describedby", "import-why");
    const dark = onPress(el("button", { type: "button", class: "i-dark" }, "Everything dark"), () => app.dark(), { down: true }); // never out of reach
    this.dialog = el("dialog", { id: "import", "aria-labelledby": "import-title" },
      el("header", {}, el("div", { class: "i-title" }, el("h2", { id: "import-title" }, file.name), el("p", { class: "quiet" }, `${KIND[kind] ?? "Another kind of file"}, ${size(file.size)}`)), dark),
      this.told, this.bar, this.body,
      el("footer", {}, el("p", { class: "i-caution", "data-shape": "triangle" }, el("span", { class: "shape", "aria-hidden": "true" }), el("span", {}, CAUTION)),
        this.why, el("div", { class: "i-end" }, this.leaving, this.again, this.reloading, this.taking)));
    this.dialog.addEventListener("cancel", (event) => {
      event.preventDefault();
      this.close();
    });
  }

  close() {
    if (this.closed || this.state === "taking") return; // it is being written: that takes a moment
    this.closed = true;
    for (const end of this.ends) end();
    this.sending?.leave();
    this.app.link.ask("import-leave").catch(() => {}); // the panel tidies up by itself too
    this.dialog.close();
    this.dialog.remove();
    this.returnTo?.focus?.();
  }

  // Each step: what the sheet is at, and what it says to a no

  async send() {
    this.enter("sending");
    this.sending?.leave();
    const sending = new Sending(this.app.link, this.file, (share) => { this.bar.value = share; });
    this.sending = sending;
    try {
      const { ticket } = await sending.run();
      if (sending.left) return;
      this.ticket = ticket;
      await this.look();
    } catch (error) {
      if (!sending.left) this.refused(error);
    }
  }

  async look() {
    const number = (this.looks += 1);
    this.enter("looking");
    try {
      const answer = await this.ask("import-look");
      if (number !== this.looks || this.closed) return;
      this.digest = answer.digest;
      this.found = answer.found;
      this.asks.take(answer.found.asks, answer.profiles_known);
      this.showFound();
      this.enter("looked");
    } catch (error) {
      if (number === this.looks && !this.closed) this.refused(error);
    }
  }

  async take() {
    this.enter("taking");
    try {
      const { found } = await this.ask("import-take", { digest: this.digest });
      this.found = found;
      this.showFound(true);
      this.enter("taken");
      this.body.scrollTop = 0;
      this.reloading.focus();
    } catch (error) {
      this.refused(error);
    }
  }

  async reload() {
    this.enter("reloading");
    try {
      const { taken, lines } = await this.app.link.ask("import-reload");
      this.enter(taken ? "done" : "taken", taken ? [] : ["It is in the show's files, but the bridge has not taken it:", ...lines]);
    } catch (error) {
      this.enter("taken", [error.message, ...(error.lines ?? []).slice(1)]);
    }
    if (this.state === "done") this.leaving.focus();
  }

  ask(what, more = {}) {
    return this.app.link.ask(what, { ticket: this.ticket, answers: this.asks.answers, ...more }, LONG_MS);
  }

  // What can be tried: look again where the show has changed, send it again where it did not come, nothing with its faults.
  refused(error) {
    const where = error.problems?.[0]?.where ?? "";
    this.retry = where === "file" ? "" : where ? "look" : "send";
    this.enter("refused", error.lines?.length ? error.lines : [error.message]);
    (this.retry ? this.again : this.leaving).focus();
  }

  // What is seen

  showFound(done = false) {
    const { found } = this;
    const { counts } = found;
    const asked = new Set(found.asks.map((ask) => ask.text));
    const free = found.questions.filter((text) => !asked.has(text)); // the others have a control
    this.lists.replaceChildren(...[
      changesOf(found, done),
      sentences("Still to find out", free, counts.questions - found.questions.length + free.length),
      sentences("Left out", found.skipped.map(skippedText), counts.skipped),
      sentences("To know", found.notes, counts.notes),
    ].filter(Boolean));
  }

  enter(state, lines = []) {
    if (this.closed) return;
    this.state = state;
    this.no.replaceChildren(...lines.map((line) => el("p", {}, line)));
    this.write();
  }

  write() {
    const { state } = this;
    const [shape, words] = this.stateWords();
    mark(this.told, "data-shape", shape);
    write(this.word, words);
    show(this.bar, state === "sending");
    const over = state === "taken" || state === "reloading" || state === "done";
    const why = this.whyNot();
    write(this.why, over ? "" : why);
    show(this.why, this.why.textContent);
    show(this.taking, !over);
    show(this.reloading, state === "taken" || state === "reloading");
    show(this.again, state === "refused" && this.retry);
    write(this.again, this.retry === "look" ? "Look again" : "Send it again");
    this.taking.disabled = Boolean(why);
    this.reloading.disabled = state === "reloading";
    if (over) show(this.asks.element, false);
    this.leaving.disabled = state === "taking";
    write(this.leaving, over ? "Close" : "Leave it");
    this.asks.disable(!["looked", "looking", "refused"].includes(state));
  }

  // Why it cannot be taken over now; "" where it can.
  whyNot() {
    const { state, found } = this;
    if (state !== "looked") return { sending: "It is still being sent.", looking: "It is still being looked at.", taking: "It is being taken over.", refused: "It cannot be taken over as it is." }[state] ?? "";
    if (this.app.store.frame?.bridge.locked) return LOCKED;
    if (found.counts.changes) return "";
    const { open } = this.asks;
    return open ? `Answer the question${open === 1 ? "" : "s"} first.` : "Nothing would change.";
  }

  stateWords() {
    const { found, file } = this;
    switch (this.state) {
      case "sending": return ["bar", `Sending ${size(file.size)} to the bridge's machine …`];
      case "looking": return ["bar", "Looking at it: nothing changes …"];
      case "looked": return ["ring", `${this.summary()}. Nothing is changed yet.`];
      case "taking": return ["bar", "Taking it over …"];
      case "taken": return ["diamond", `Taken over: ${found.written.join(", ") || "nothing had to be written"}. The bridge goes on as before until it reads the show again: Reload.`];
      case "reloading": return ["bar", "The bridge reads the show …"];
      case "done": return ["dot", "Taken over, and the bridge goes by it."];
      default: return ["cross", "Nothing was taken over."];
    }
  }

  summary() {
    const { counts } = this.found;
    const parts = [counts.changes ? counted(counts.changes, "change") : "No changes"];
    const { open } = this.asks;
    if (open) parts.push(`${counted(open, "question")} open`);
    if (counts.skipped) parts.push(`${counts.skipped} left out`);
    return parts.join(", ");
  }
}

function size(octets) {
  if (octets < 1e3) return `${octets} bytes`;
  return octets < 1e6 ? `${Math.round(octets / 1e3)} kB` : `${(octets / 1e6).toFixed(1)} MB`;
}
