// Tracking inputs in words: what is heard of each, and how far that is of use.

import { ago } from "./rig.js";
import { milliseconds } from "./statussigns.js";

const SILENT_MS = 1000;

// A number and its unit stay in one line.
const unit = (value, word) => `${value}\u00a0${word}`;

// A row of the table: texts, or [shape, text] where a state is told.
export function trackingRow(row) {
  return [`${row.name} (${row.protocol})`, heard(row), points(row), frame(row), row.refused ? ["triangle", String(row.refused)] : "0"];
}

function heard({ age, points, rate, jitter }) {
  if (age < 0) return ["ring", "never"];
  if (!points) return ["triangle", `lost, ${ago(age / 1000)}`];
  if (age > SILENT_MS) return ["triangle", `silent, ${milliseconds(age)}`];
  return ["dot", `${milliseconds(age).replace(" ", "\u00a0")}, ${unit(Math.round(rate), "Hz")}, jitter ${unit(jitter.toFixed(1), "ms")}`];
}

function points({ points, followed, lost }) {
  const far = followed.split(" ").filter(Boolean);
  const gone = lost.split(" ").filter(Boolean);
  if (gone.length) return ["triangle", `${points} heard; lost: ${gone.join(", ")}`];
  return far.length ? ["dot", `${points} heard; followed: ${far.join(", ")}`] : ["ring", `${points} heard; none followed`];
}

function frame({ framed }) {
  return framed ? ["dot", "has a frame"] : ["triangle", "no frame: heard, not followed"];
}
