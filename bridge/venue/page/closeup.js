// The close-up: the performer as the eye of the drawing sees him, and where each beam's axis passes him, in centimetres.
// Errors that are a hair on the whole stage are seen here.

import { BELIEVED } from "./heads.js";
import { FONT } from "./labels.js";
import { drawShape, grade, isMeasured } from "./grades.js";
import { distance, dot, isPoint, nearestOnRay, subtract, unit } from "./vectors.js";

const REACH_M = 0.36; // from the middle to the edge
const RINGS_M = [0.12, 0.3]; // where the grades change
const USUAL_HEIGHT_M = 1.3;
const HEIGHTS_M = Array.from({ length: 53 }, (_, i) => i * 0.05);

// The point that the beams should meet: that many metres above the performer's feet as agrees best with the errors that
// the venue measured (the frame says where the feet are, and how far each beam is off, but not the height).
export function litPoint(frame, person) {
  if (isPoint(person.point)) return person.point;
  const beams = frame.heads.filter((head) => isMeasured(head) && isPoint(head.start) && isPoint(head.dir));
  const raised = (height) => [person.at[0], person.at[1], person.at[2] + height];
  if (!beams.length) return raised(USUAL_HEIGHT_M);
  const misfit = (height) => beams.reduce((sum, { start, dir, error_m: told }) => {
    const point = raised(height);
    return sum + Math.abs(distance(nearestOnRay(start, unit(dir), point), point) - told);
  }, 0);
  const best = HEIGHTS_M.map((height) => [misfit(height), height]).sort((a, b) => a[0] - b[0])[0];
  return raised(best[1]);
}

export class CloseUp {
  constructor(canvas) {
    Object.assign(this, { canvas, context: canvas.getContext("2d") });
  }

  draw(camera, frame, { believe, chosen }) {
    const person = frame?.performers?.find((p) => isPoint(p.at));
    const size = this.canvas.clientWidth;
    if (size < 20) return;
    const dense = Math.min(2, window.devicePixelRatio || 1);
    if (this.canvas.width !== Math.round(size * dense)) this.canvas.width = this.canvas.height = Math.round(size * dense);
    const context = this.context;
    context.setTransform(dense, 0, 0, dense, 0, 0);
    context.clearRect(0, 0, size, size);
    this.rings(size);
    if (!person) return;
    const point = litPoint(frame, person);
    const place = (start, dir) => {
      const off = subtract(nearestOnRay(start, unit(dir), point), point);
      return this.pixel(size, dot(off, camera.right), dot(off, camera.up));
    };
    if (believe) this.believed(frame, place, chosen);
    frame.heads.forEach((head, i) => {
      if (!isMeasured(head) || !isPoint(head.start) || !isPoint(head.dir)) return;
      const [x, y] = place(head.start, head.dir);
      drawShape(context, grade(head), x, y, chosen === i ? 7 : 4.5);
      if (chosen === i) this.circle(x, y, 11, "#ffffff", 2);
    });
  }

  rings(size) {
    const context = this.context;
    const middle = size / 2;
    context.fillStyle = "#c4ae98";
    context.font = `12px ${FONT}`;
    context.textAlign = "center";
    context.textBaseline = "middle";
    for (const metres of RINGS_M) {
      const r = (metres / REACH_M) * middle;
      this.circle(middle, middle, r, "rgba(214, 170, 124, 0.45)", 1);
      const text = `${Math.round(metres * 100)} cm`;
      const width = context.measureText(text).width + 6;
      const [x, y] = [middle - r * Math.SQRT1_2, middle + r * Math.SQRT1_2];
      context.clearRect(x - width / 2, y - 7, width, 14);
      context.fillText(text, x, y + 0.5);
    }
    context.strokeStyle = "rgba(243, 231, 216, 0.7)";
    context.lineWidth = 1;
    context.beginPath();
    for (const [dx, dy] of [[1, 0], [0, 1]]) {
      context.moveTo(middle - 7 * dx, middle - 7 * dy);
      context.lineTo(middle + 7 * dx, middle + 7 * dy);
    }
    context.stroke();
  }

  believed(frame, place, chosen) {
    const context = this.context;
    context.strokeStyle = BELIEVED;
    frame.heads.forEach((head, i) => {
      if (!isPoint(head.solved?.dir) || !isPoint(head.start) || !isMeasured(head)) return;
      const truth = place(head.start, head.dir);
      const [x, y] = place(head.start, head.solved.dir);
      context.globalAlpha = chosen < 0 || chosen === i ? 1 : 0.35;
      context.lineWidth = 1.2;
      context.setLineDash([3, 3]);
      context.beginPath();
      context.moveTo(...truth);
      context.lineTo(x, y);
      context.stroke();
      context.setLineDash([]);
      context.lineWidth = 1.6;
      context.beginPath();
      [[x - 4, y], [x, y - 4], [x + 4, y], [x, y + 4]].forEach((p) => context.lineTo(...p));
      context.closePath();
      context.stroke();
    });
    context.globalAlpha = 1;
  }

  circle(x, y, r, colour, width) {
    this.context.beginPath();
    this.context.arc(x, y, r, 0, 2 * Math.PI);
    this.context.strokeStyle = colour;
    this.context.lineWidth = width;
    this.context.stroke();
  }

  // Metres beside and above the performer as pixels; what is farther off sits on the edge.
  pixel(size, beside, above) {
    const middle = size / 2;
    const far = Math.hypot(beside, above) / REACH_M;
    const k = (middle / REACH_M) * (far > 0.95 ? 0.95 / far : 1);
    return [middle + beside * k, middle - above * k];
  }
}
