// Who operates: this page's name, who else is there, which target, whose hand is on it, and taking it.

import { el, mark, show, switchButton, write } from "./dom.js";

const LONGEST_NAME = 32;

export class Operators {
  // `host` gets the bar. The target chosen and the hand on it are app.hand's.
  constructor(host, app) {
    Object.assign(this, { app, hand: app.hand });
    this.remember();
    this.select = el("select", { "aria-label": "Target", onchange: () => this.hand.choose(this.select.value) });
    this.only = el("strong", { class: "target" });
    this.word = el("span", { class: "word" });
    this.whose = el("p", { class: "whose" }, el("span", { class: "shape", "aria-hidden": "true" }), this.word);
    this.take = el("button", { type: "button", class: "take", hidden: true, onclick: () => this.ask() }, "Take");
    this.letGo = el("button", { type: "button", hidden: true, onclick: () => this.hand.release() }, "Let go");
    this.me = el("button", { type: "button", class: "me", onclick: () => this.open() });
    const slot = el("div", { class: "slot" }, this.take, this.letGo); // never both: the bar keeps its size
    host.append(this.only, this.select, this.whose, slot, this.me);
    this.question = this.makeQuestion();
    this.people = this.makePeople();
    host.append(this.question.dialog, this.people.dialog);
    app.store.on("scene", (scene) => this.scene(scene));
    for (const what of ["frame", "me"]) app.store.on(what, () => this.write());
    this.hand.onChange.push(() => this.write());
  }

  // Two tabs are two people: the name is kept with the tab, and for a new tab in the browser.
  remember() {
    const { settings } = this.app;
    const name = settings.read(sessionStorage, "name");
    if (name) settings.values.set("name", name);
  }

  rename(name) {
    const tidy = name.replace(/[@\p{Cc}]/gu, "").replace(/\s+/g, " ").trim().slice(0, LONGEST_NAME);
    if (!tidy || tidy === this.app.store.me.name) return;
    this.app.settings.write(sessionStorage, "name", tidy);
    this.app.link.rename(tidy);
  }

  makeQuestion() {
    const text = el("p", { id: "take-text" });
    const close = () => dialog.close();
    const yes = el("button", { type: "button", class: "first", onclick: () => { close(); this.hand.take(); } }, "Take it");
    const dialog = el("dialog", { "aria-labelledby": "take-text" }, text,
      el("div", { class: "answers" }, yes, el("button", { type: "button", onclick: close }, "Leave it")));
    return { dialog, text };
  }

  makePeople() {
    const field = el("input", { type: "text", maxlength: LONGEST_NAME, autocomplete: "off", id: "my-name" });
    const others = el("p", { class: "others" });
    const close = () => dialog.close();
    this.way = switchButton("Always drag", (on) => { this.hand.relative = on; });
    const why = el("p", { class: "why" }, "Off: a touch puts the target there while none of its heads gives light; lit, the target is dragged and never jumps. On: it is always dragged.");
    const form = el("form", { method: "dialog", onsubmit: () => this.rename(field.value) },
      el("label", { for: "my-name" }, "My name"), field, others, this.way.button, why,
      el("div", { class: "answers" },
        el("button", { type: "submit", class: "first" }, "Use this name"), el("button", { type: "button", onclick: close }, "Close")));
    const dialog = el("dialog", { "aria-label": "Operators" }, form);
    return { dialog, field, others };
  }

  open() {
    this.people.field.value = this.app.store.me.name;
    this.people.dialog.showModal();
    this.people.field.select();
  }

  ask() {
    const { other, otherSteers, target } = this.hand;
    if (!other) return;
    const input = this.app.store.tracker(target);
    write(this.question.text, `${otherSteers}. Take it?${input ? ` ${input} tracks it again soon after you let go.` : ""}`);
    this.question.dialog.showModal();
  }

  scene(scene) {
    const names = scene.targets.map((target) => target.name);
    this.select.replaceChildren(...names.map((name) => el("option", { value: name }, name)));
    show(this.select, names.length > 1);
    show(this.only, names.length === 1);
    this.write();
  }

  write() {
    const { hand, app } = this;
    write(this.only, hand.target);
    if (this.select.value !== hand.target) this.select.value = hand.target;
    const who = app.store.frame ? app.store.hand(hand.target) : "";
    const mine = who === "me" || (hand.holding && !hand.other);
    const input = mine ? "" : app.store.tracker(hand.target);
    mark(this.whose, "data-shape", mine ? "dot" : input ? "diamond" : who ? "triangle" : "ring");
    write(this.word, mine ? "Your hand" : input ? `Tracked by ${input}` : who ? `${who}'s hand` : "Nobody's hand");
    show(this.take, hand.other);
    show(this.letGo, hand.holding);
    this.way.set(hand.relative);
    write(this.me, app.store.me.name || "Name");
    mark(this.me, "aria-label", `Operators, I am ${app.store.me.name}`);
    const others = (app.store.frame?.pages ?? []).filter((name) => name !== app.store.me.name);
    write(this.people.others, others.length ? `Also here: ${others.join(", ")}` : "Nobody else is here.");
    if (this.question.dialog.open && !hand.other) this.question.dialog.close();
  }
}
