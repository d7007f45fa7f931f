// The plan of the editor: the stage as the forms say it, with handles on what is chosen, and signs where something is wrong.

import { COLOUR } from "./colours.js";
import { corners, endPlace, isArea, place, sceneOf } from "./editplace.js";
import { bounds, Plan } from "./plan.js";
import { trace, write } from "./planstill.js";

const CLOSEST = 400; // pixels a metre
const FARTHEST = 4;
const EDGE_PX = 14;
const FOOT_PX = 70; // the buttons at the bottom
const SIDE_PX = 56; // a shorter side has no handle in its middle

// What the plan looks at instead of the page's store: the draft.
class DraftStore {
  constructor(app, draft) {
    Object.assign(this, { app, draft, frame: null, scene: null });
    this.build();
  }

  build() {
    this.scene = this.app.store.scene && sceneOf(this.draft.items, this.app.store.scene);
  }

  on() {}
}

export class EditPlan extends Plan {
  constructor(host, editor) {
    super(host, new DraftStore(editor.app, editor.draft), { label: "The stage, to be edited", mark: "data-map" });
    this.editor = editor;
    this.layers.push((context) => this.over(context));
    editor.draft.on(() => this.redraw());
  }

  redraw() {
    this.store.build();
    Object.assign(this, { dirty: true, stale: true });
  }

  // The whole stage; the seat too while it is chosen.
  fit() {
    const { scene } = this.store;
    if (!scene || !this.width || !this.editor) return;
    const chosen = this.editor.item;
    const [x0, y0, x1, y1] = bounds(scene, chosen?.kind === "seat" ? [place(chosen.at)].filter(Boolean) : []);
    const scale = Math.min((this.width - 2 * EDGE_PX) / (x1 - x0), (this.height - EDGE_PX - FOOT_PX) / (y1 - y0));
    this.fitted = scale;
    this.look({ left: (x0 + x1) / 2 - this.width / 2 / scale, bottom: y1 - (this.height - EDGE_PX) / scale, scale }, true);
  }

  zoom(factor, [px, py] = [this.width / 2, this.height / 2]) {
    const [x, y] = this.toStage(px, py);
    const scale = Math.min(CLOSEST, Math.max(FARTHEST, this.view.scale * factor));
    this.look({ left: x - px / scale, bottom: y - (this.height - py) / scale, scale });
  }

  pan(dx, dy) {
    const { left, bottom, scale } = this.view;
    this.look({ left: left - dx / scale, bottom: bottom + dy / scale, scale });
  }

  // A point that has to be seen: the picture is moved there if it is not.
  reveal(point) {
    if (!point || !this.width) return;
    const [x, y] = this.toPixels(...point);
    if (x > 20 && x < this.width - 20 && y > 20 && y < this.height - 20) return;
    this.pan(this.width / 2 - x, this.height / 2 - y);
  }

  over(context) {
    const { draft, item, kind, adding } = this.editor;
    if (kind === "tapes") this.tapes(context, draft, item);
    for (const seat of draft.of("seat")) this.seat(context, place(seat.at));
    for (const mark of draft.of("marks")) if (!place(mark.at)) this.unsurveyed(context, mark);
    for (const old of draft.items.filter((one) => draft.changed(one))) this.changed(context, old);
    if (item && isArea(item)) this.handles(context, item);
    else if (item && place(item.at)) ring(context, this.toPixels(...place(item.at)), 16);
    if (adding) this.adding(context, adding);
    for (const { item: wrong, field } of this.editor.problems()) if (wrong) this.sign(context, this.placeOf(wrong, field));
  }

  // Where a thing is seen: its corner, its place, its middle; or where it was, if that is no place now.
  placeOf(item, field = "") {
    const old = this.editor.draft.base.find((one) => one.key === item.key);
    return this.seenAt(item, field) ?? (item.at !== null && old ? this.seenAt(old, field) : null);
  }

  seenAt(item, field) {
    if (item.kind === "tapes") {
      const ends = item.between.map((end) => endPlace(end, this.editor.draft, this.editor.app.store.scene)).filter(Boolean);
      return ends.length ? middle(ends) : null;
    }
    if (!isArea(item)) return place(item.at);
    const points = corners(item).filter(Boolean);
    const corner = /^corners\.(\d+)/.exec(field);
    return (corner && corners(item)[corner[1] - 1]) || (points.length ? middle(points) : null);
  }

  tapes(context, draft, chosen) {
    for (const item of draft.of("tapes")) {
      const ends = item.between.map((end) => endPlace(end, draft, this.editor.app.store.scene));
      if (!ends[0] || !ends[1]) continue;
      const pixels = ends.map(([x, y]) => this.toPixels(x, y));
      context.lineWidth = item === chosen ? 4 : 1.5;
      context.strokeStyle = item === chosen ? COLOUR.text : COLOUR.quiet;
      context.setLineDash(item === chosen ? [] : [6, 4]);
      line(context, ...pixels);
      context.setLineDash([]);
      if (item === chosen) for (const [n, end] of item.between.entries()) write(context, end, pixels[n][0] + 8, pixels[n][1] - 12, COLOUR.text, { align: "left", weight: 700 });
    }
  }

  seat(context, at) {
    if (!at) return;
    const [x, y] = this.toPixels(...at);
    context.strokeStyle = COLOUR.hand;
    context.lineWidth = 3;
    context.strokeRect(x - 8, y - 8, 16, 12);
    line(context, [x - 12, y + 9], [x + 12, y + 9]);
    write(context, "seat", x, y + 21, COLOUR.hand);
  }

  // Never measured: where a solve has put it, dotted, if one has.
  unsurveyed(context, mark) {
    const solved = this.editor.app.store.scene.marks[mark.was ?? mark.name];
    if (mark.at || !solved?.at || solved.surveyed) return;
    const [x, y] = this.toPixels(...solved.at);
    context.setLineDash([2, 4]);
    ring(context, [x, y], 9, COLOUR.mark);
    context.setLineDash([]);
    write(context, `${mark.name} (solved)`, x + 14, y - 12, COLOUR.mark, { align: "left" });
  }

  // Changed and not saved: a star beside the name.
  changed(context, item) {
    const at = this.placeOf(item);
    if (!at) return;
    const [x, y] = this.toPixels(...at);
    write(context, "∗", x - 14, y + (isArea(item) ? 18 : 0), COLOUR.area, { weight: 700, size: 22 });
  }

  handles(context, item) {
    const points = corners(item);
    if (points.every(Boolean) && points.length) {
      trace(context, this, points);
      context.lineWidth = 4;
      context.strokeStyle = COLOUR.text;
      context.stroke();
      for (const at of this.sides(points)) if (at) plus(context, at.pixels);
    }
    const known = points.filter(Boolean);
    const [mx, my] = known.length ? this.toPixels(...middle(known)) : [0, 0];
    points.forEach((point, number) => {
      if (!point) return;
      const [x, y] = this.toPixels(...point);
      context.fillStyle = this.editor.corner === number ? COLOUR.area : COLOUR.ground;
      context.strokeStyle = COLOUR.text;
      context.lineWidth = 3;
      context.beginPath();
      context.rect(x - 8, y - 8, 16, 16);
      context.fill();
      context.stroke();
      write(context, String(number + 1), x + 19 * Math.sign(x - mx), y + 17 * Math.sign(y - my), COLOUR.text, { weight: 700 });
    });
  }

  // The middle of every side that is long enough for a handle: {point, pixels}, or null.
  sides(points) {
    return points.map((point, number) => {
      const next = points[(number + 1) % points.length];
      const [one, two] = [this.toPixels(...point), this.toPixels(...next)];
      if (Math.hypot(one[0] - two[0], one[1] - two[1]) < SIDE_PX) return null;
      return { point: middle([point, next]), pixels: middle([one, two]) };
    });
  }

  adding(context, { points }) {
    const pixels = points.map((point) => this.toPixels(...point));
    context.strokeStyle = COLOUR.hand;
    context.lineWidth = 3;
    context.setLineDash([8, 5]);
    for (let n = 1; n < pixels.length; n += 1) line(context, pixels[n - 1], pixels[n]);
    context.setLineDash([]);
    pixels.forEach((at, number) => {
      ring(context, at, 9, COLOUR.hand);
      write(context, String(number + 1), at[0] + 15, at[1] - 13, COLOUR.hand, { weight: 700 });
    });
  }

  sign(context, at) {
    if (!at) return;
    const [x, y] = this.toPixels(...at);
    context.fillStyle = COLOUR.bad;
    context.beginPath();
    context.moveTo(x, y - 34);
    context.lineTo(x + 14, y - 10);
    context.lineTo(x - 14, y - 10);
    context.closePath();
    context.fill();
    context.font = "700 15px system-ui, sans-serif";
    context.fillStyle = COLOUR.ground;
    context.textAlign = "center";
    context.fillText("!", x, y - 17);
  }
}

const middle = (points) => [0, 1].map((axis) => points.reduce((sum, point) => sum + point[axis], 0) / points.length);

function line(context, from, to) {
  context.beginPath();
  context.moveTo(...from);
  context.lineTo(...to);
  context.stroke();
}

function ring(context, [x, y], radius, colour = COLOUR.text) {
  context.strokeStyle = colour;
  context.lineWidth = 3;
  context.beginPath();
  context.arc(x, y, radius, 0, 2 * Math.PI);
  context.stroke();
}

function plus(context, [x, y]) {
  context.fillStyle = COLOUR.ground;
  context.beginPath();
  context.arc(x, y, 9, 0, 2 * Math.PI);
  context.fill();
  context.lineWidth = 2;
  context.strokeStyle = COLOUR.text;
  context.stroke();
  line(context, [x - 4, y], [x + 4, y]);
  line(context, [x, y - 4], [x, y + 4]);
}
