// The plan of a focus session: heads and marks as shapes that a glove can tap, who is done, where the beam is.

import { COLOUR } from "./colours.js";
import { LOW_PX, spread } from "./focusroom.js";
import { write } from "./planstill.js";

const HEAD_PX = 17; // sizes of the shapes, less where the plan is low
const MARK_PX = 18;
const REACH_PX = 44; // a tap so near to a shape means it
const EDGE_PX = 28;
const GAP_PX = 48;


export class FocusPlan {
  constructor(app, session, plan) {
    Object.assign(this, { app, session, plan, places: new Map(), size: 1 });
    plan.layers.push((context) => this.draw(context));
    plan.canvas.addEventListener("pointerup", (event) => this.tap(event));
    session.on(() => { plan.dirty = true; });
  }

  // Where every head's shape is, in pixels: at its place, those outside the stage at the edge, none over another if it can be.
  place() {
    const { plan } = this;
    const { scene } = this.app.store;
    const of = [plan.revision, scene.revision, plan.width, plan.height].join();
    if (of === this.placedFor) return;
    this.placedFor = of;
    const [left, bottom] = plan.toPixels(plan.inner[0], plan.inner[1]);
    const [right, top] = plan.toPixels(plan.inner[2], plan.inner[3]);
    const edge = { top: this.headPx + 9, bottom: plan.height - this.headPx - 10 };
    const spots = scene.heads.map(({ name, at }, number) => {
      const [x, y] = at ? plan.toPixels(at[0], at[1]) : [plan.width * (0.1 + 0.8 * ((number * 0.37) % 1)), -1];
      const spot = { name, x, y, low: EDGE_PX, high: plan.width - EDGE_PX, top: edge.top, bottom: edge.bottom };
      if (y < top) spot.bottom = edge.top;
      else if (y > bottom) spot.top = edge.bottom;
      else if (x <= left) spot.high = Math.max(EDGE_PX, left - EDGE_PX);
      else if (x >= right) spot.low = Math.min(plan.width - EDGE_PX, right + EDGE_PX);
      return spot;
    });
    const marks = Object.values(scene.marks).filter((mark) => mark.at).map((mark) => plan.toPixels(mark.at[0], mark.at[1]));
    spread(spots, marks, GAP_PX * this.size);
    this.places = new Map(spots.map((spot) => [spot.name, spot]));
  }

  get headPx() {
    return HEAD_PX * this.size;
  }

  get markPx() {
    return MARK_PX * this.size;
  }

  tap(event) {
    const { plan, session } = this;
    const box = plan.canvas.getBoundingClientRect();
    const [px, py] = [event.clientX - box.left, event.clientY - box.top];
    if (session.showing) {
      session.pad.shown(plan.toStage(px, py));
      return;
    }
    const near = [...this.targets()].map((one) => ({ ...one, off: Math.hypot(one.x - px, one.y - py) })).sort((a, b) => a.off - b.off)[0];
    if (!near || near.off > REACH_PX) return;
    if (near.kind === "head") session.chooseHead(near.name);
    else session.chooseMark(near.name);
  }

  * targets() {
    for (const spot of this.places.values()) yield { ...spot, kind: "head" };
    for (const [name, mark] of Object.entries(this.app.store.scene.marks)) {
      if (!mark.at) continue;
      const [x, y] = this.plan.toPixels(mark.at[0], mark.at[1]);
      yield { name, x, y, kind: "mark" };
    }
  }

  draw(context) {
    const { scene, frame } = this.app.store;
    if (!scene) return;
    this.size = Math.max(0.72, Math.min(1, this.plan.height / LOW_PX));
    this.place();
    for (const target of this.targets()) if (target.kind === "mark") this.drawMark(context, target);
    this.drawBeams(context, scene, frame);
    const last = [...this.places.values()].sort((a, b) => (a.name === this.session.head) - (b.name === this.session.head));
    for (const spot of last) this.drawHead(context, spot, frame);
    if (this.session.showing) write(context, `Tap where the beam of ${this.session.head} is`, this.plan.width / 2, 22, COLOUR.target, { weight: 700, size: 17 });
  }

  drawBeams(context, scene, frame) {
    const { session, plan } = this;
    frame?.heads.forEach((head, number) => {
      const { name } = scene.heads[number];
      if (!head.hit || (head.level < 0.003 && name !== session.head)) return;
      this.drawBeam(context, name, plan.toPixels(head.hit[0], head.hit[1]), name === session.head, false);
    });
    const own = session.frame();
    if (own?.in_hand && !own.hit && session.hangs.lands && session.hangs.head === session.head && session.hangs.by !== "plot") {
      this.drawBeam(context, session.head, plan.toPixels(...session.hangs.lands), true, true);
    }
  }

  drawBeam(context, name, [x, y], own, guessed) {
    const from = this.places.get(name);
    context.lineWidth = own ? 2.5 : 1;
    context.strokeStyle = own ? COLOUR.beam : "rgba(255, 227, 161, 0.4)";
    context.setLineDash(guessed ? [6, 6] : []);
    context.beginPath();
    context.moveTo(from.x, from.y);
    context.lineTo(x, y);
    context.stroke();
    context.beginPath();
    context.arc(x, y, own ? 10 : 6, 0, 2 * Math.PI);
    context.stroke();
    context.setLineDash([]);
    if (own) {
      context.fillStyle = COLOUR.beam;
      context.beginPath();
      context.arc(x, y, 2.5, 0, 2 * Math.PI);
      context.fill();
      if (guessed && this.plan.height >= LOW_PX) write(context, "about here", x + 15, y + 13, COLOUR.beam, { align: "left" });
    }
  }

  // A square: filled with a tick where the head in hand is sighted on it; below, how many of the chosen heads are.
  drawMark(context, { name, x, y }) {
    const { session } = this;
    const [chosen, now, done] = [session.marks.has(name), name === session.mark, session.sighted(session.head, name)];
    context.globalAlpha = chosen ? 1 : 0.45;
    context.lineWidth = now ? 4 : 2;
    context.strokeStyle = now ? COLOUR.area : COLOUR.mark;
    context.fillStyle = done ? COLOUR.mark : COLOUR.ground;
    context.beginPath();
    context.rect(x - this.markPx, y - this.markPx, 2 * this.markPx, 2 * this.markPx);
    context.fill();
    context.stroke();
    if (now) ring(context, x, y, this.markPx * 1.7, true);
    write2(context, name, x, y + (done ? -4 * this.size : 0), done ? "#16180f" : COLOUR.text, (name.length > 2 ? 12 : 17) * this.size);
    if (done) tick(context, x, y + this.markPx / 2, "#16180f");
    if (this.size < 1) return this.opaque(context);
    const beside = x < this.plan.width / 2 ? 1 : -1;
    write(context, `${session.headsOn(name)}/${session.heads.size}`, x + beside * (this.markPx + (now ? 18 : 6)), y, COLOUR.quiet, { weight: 600, align: beside > 0 ? "left" : "right" });
    return this.opaque(context);
  }

  opaque(context) {
    context.globalAlpha = 1;
  }

  // A circle with a ring of as many parts as there are marks, those that are done filled.
  drawHead(context, { name, x, y }, frame) {
    const { session } = this;
    const [chosen, now, done, all] = [session.heads.has(name), name === session.head, session.doneOf(name), session.marks.size];
    const state = frame?.heads[this.app.store.scene.heads.findIndex((head) => head.name === name)];
    context.globalAlpha = chosen ? 1 : 0.4;
    context.fillStyle = state?.in_hand ? "#3c3416" : COLOUR.stage;
    context.strokeStyle = now ? COLOUR.area : COLOUR.head;
    context.lineWidth = 2;
    context.beginPath();
    context.arc(x, y, this.headPx, 0, 2 * Math.PI);
    context.fill();
    context.stroke();
    for (let part = 0; part < all; part += 1) {
      const [from, to] = [part, part + 1].map((k) => -Math.PI / 2 + (2 * Math.PI * k) / all);
      context.beginPath();
      context.lineWidth = part < done ? 6 : 1.5;
      context.arc(x, y, this.headPx - 4, from + 0.12, to - 0.12);
      context.stroke();
    }
    if (now) ring(context, x, y, this.headPx + 7, false);
    write2(context, all && done === all ? "✓" : String(done), x, y, COLOUR.text, 15);
    const below = y < this.plan.height / 2 ? y + this.headPx + (now ? 17 : 11) : y - this.headPx - (now ? 17 : 11);
    const room = this.places.get(name).room;
    const words = this.plan.height < LOW_PX ? "" : fits(context, name, room);
    if (words || (now && this.plan.height >= LOW_PX)) write(context, words || name, x, below, now ? COLOUR.area : COLOUR.quiet, { weight: now ? 700 : 500, size: now ? 15 : 12 });
    context.globalAlpha = 1;
  }
}

function fits(context, name, room) {
  context.font = '500 12px "Segoe UI", "Noto Sans", "DejaVu Sans", system-ui, sans-serif';
  return context.measureText(name).width < room - 4 ? name : "";
}

function ring(context, x, y, radius, square) {
  context.strokeStyle = COLOUR.area;
  context.lineWidth = 4;
  context.beginPath();
  if (square) context.rect(x - radius / 1.25, y - radius / 1.25, (2 * radius) / 1.25, (2 * radius) / 1.25);
  else context.arc(x, y, radius, 0, 2 * Math.PI);
  context.stroke();
}

function tick(context, x, y, colour) {
  context.strokeStyle = colour;
  context.lineWidth = 3;
  context.beginPath();
  context.moveTo(x - 6, y - 1);
  context.lineTo(x - 1, y + 4);
  context.lineTo(x + 7, y - 5);
  context.stroke();
}

function write2(context, text, x, y, colour, size) {
  context.font = `700 ${size}px "Segoe UI", "Noto Sans", "DejaVu Sans", system-ui, sans-serif`;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.fillStyle = colour;
  context.fillText(text, x, y);
}
