// The one drawing: what stands still (kept until the camera moves), light added to it, then heads, people and words.

import { Camera, VIEWS } from "./camera.js";
import { drawBelieved, drawFindings, drawHeads, drawPoolEdges, labelBelieved } from "./heads.js";
import { Labels, Notes } from "./labels.js";
import { Light } from "./light.js";
import { corners, drawPlace } from "./place.js";
import { drawPerson, drawTrails } from "./people.js";
import { mix } from "./vectors.js";

const TURN_MS = 650;
const FADED = 0.3; // brightness of the last picture while no data come
const MARGIN = { left: 26, right: 26, top: 44, bottom: 92 };

export class Drawing {
  constructor(canvas) {
    this.canvas = canvas;
    this.context = canvas.getContext("2d", { alpha: false });
    this.still = document.createElement("canvas");
    this.camera = new Camera();
    this.light = new Light();
    this.view = "free";
    this.turn = null;
    this.scene = null;
    this.seen = "";
  }

  show(scene) {
    const tints = [...new Set(scene.heads.map((head) => head.truss))];
    this.tints = scene.heads.map((head) => tints.indexOf(head.truss));
    this.scene = scene;
    this.light.prepare(scene.heads.length);
    this.seen = "";
    this.fit();
  }

  fit() {
    if (this.scene) this.camera.set(this.camera.fitting(VIEWS[this.view], corners(this.scene), MARGIN));
    this.turn = null;
  }

  // Turn to a view; at once where the user wants no motion.
  look(view, now, calm) {
    this.view = view;
    if (!this.scene) return;
    const to = this.camera.fitting(VIEWS[view], corners(this.scene), MARGIN);
    if (calm) {
      this.camera.set(to);
      this.turn = null;
      return;
    }
    const { yaw, pitch, depth, centre, span } = this.camera;
    const whole = 2 * Math.PI; // the short way round
    const from = { yaw: to.yaw + ((((yaw - to.yaw + Math.PI) % whole) + whole) % whole) - Math.PI, pitch, depth, centre, span };
    this.turn = { from, to, began: now };
  }

  drag(dx, dy, move) {
    this.turn = null;
    if (this.view === "free" && !move) this.camera.orbit(dx, dy);
    else this.camera.shift(dx, dy);
  }

  zoom(factor, x, y) {
    this.turn = null;
    this.camera.zoom(factor, x, y);
  }

  resize() {
    const { clientWidth: width, clientHeight: height } = this.canvas;
    const dense = Math.min(2, window.devicePixelRatio || 1);
    const [w, h] = [Math.max(1, Math.round(width * dense)), Math.max(1, Math.round(height * dense))];
    if (this.canvas.width === w && this.canvas.height === h) return;
    for (const canvas of [this.canvas, this.still]) Object.assign(canvas, { width: w, height: h });
    this.dense = dense;
    this.camera.resize(width, height);
    this.fit();
  }

  step(now) {
    if (!this.turn) return;
    const { from, to, began } = this.turn;
    const part = Math.min(1, (now - began) / TURN_MS);
    const k = part * part * (3 - 2 * part);
    const values = { centre: mix(from.centre, to.centre, k) };
    for (const key of ["yaw", "pitch", "depth", "span"]) values[key] = from[key] + (to[key] - from[key]) * k;
    this.camera.set(values);
    if (part === 1) this.turn = null;
  }

  draw(now, frame, trails, { believe, chosen, silent }) {
    this.step(now);
    const { context, camera, scene } = this;
    this.keepStill();
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.globalCompositeOperation = "source-over";
    context.globalAlpha = 1;
    context.drawImage(this.still, 0, 0);
    if (!scene) return;
    if (frame) this.addLight(frame, silent);
    context.setTransform(this.dense, 0, 0, this.dense, 0, 0);
    const labels = new Labels(context, camera.width);
    if (frame) {
      drawTrails(context, camera, trails);
      drawPoolEdges(context, camera, frame, chosen);
    }
    drawHeads(context, camera, scene, frame, chosen);
    if (!frame) return this.notes.writeTo(labels);
    const offsets = believe ? drawBelieved(context, camera, scene, frame, chosen) : [];
    for (const person of frame.performers ?? []) drawPerson(context, camera, person, labels);
    drawFindings(context, camera, scene, frame, chosen, labels);
    labelBelieved(scene, offsets, labels);
    this.notes.writeTo(labels);
  }

  addLight(frame, silent) {
    const { context } = this;
    this.light.draw(this.camera, frame.heads, (i) => this.tints[i] ?? 0, silent ? FADED : 1);
    context.globalCompositeOperation = "lighter";
    context.drawImage(this.light.canvas, 0, 0, this.canvas.width, this.canvas.height);
    context.globalCompositeOperation = "source-over";
  }

  // Redraw what stands still, but only when the camera or the scene changed.
  keepStill() {
    const key = `${this.camera.changes} ${this.still.width} ${this.still.height} ${this.scene ? 1 : 0}`;
    if (key === this.seen) return;
    this.seen = key;
    const context = this.still.getContext("2d", { alpha: false });
    context.setTransform(1, 0, 0, 1, 0, 0);
    const ground = context.createLinearGradient(0, 0, 0, this.still.height);
    ground.addColorStop(0, "#0d0a08");
    ground.addColorStop(1, "#17110c");
    context.fillStyle = ground;
    context.fillRect(0, 0, this.still.width, this.still.height);
    this.notes = new Notes();
    context.setTransform(this.dense, 0, 0, this.dense, 0, 0);
    if (this.scene) drawPlace(context, this.camera, this.scene, this.notes);
  }
}
