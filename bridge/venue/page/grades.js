// How well a beam sits on its performer, told by a word and a shape as well as a colour.

export const GRADES = {
  on: { word: "on", shape: "disc", colour: "#a9d69a", text: "on: within 12 cm" },
  wide: { word: "wide", shape: "triangle", colour: "#ffcf70", text: "wide: 12 to 30 cm" },
  off: { word: "far", shape: "cross", colour: "#ff9a86", text: "far: over 30 cm" },
  lit: { word: "lit", shape: "square", colour: "#ead3a8", text: "lit: not measured" },
  dark: { word: "dark", shape: "ring", colour: "#b9a896", text: "dark" },
};

const ON_M = 0.12;
const WIDE_M = 0.3;
const LIT = 0.01;

// Whether a beam has an error that was measured.
export function isMeasured(head) {
  return head.level > LIT && Number.isFinite(head.error_m);
}

export function grade(head) {
  if (!(head.level > LIT)) return "dark";
  if (!Number.isFinite(head.error_m)) return "lit";
  if (head.error_m <= ON_M) return "on";
  return head.error_m <= WIDE_M ? "wide" : "off";
}

// Metres as people read them: centimetres, or metres from ten on.
export function centimetres(metres) {
  if (!Number.isFinite(metres)) return "–";
  const cm = metres * 100;
  if (cm >= 995) return `${metres.toFixed(1)} m`;
  return cm < 9.95 ? `${cm.toFixed(1)} cm` : `${cm.toFixed(0)} cm`;
}

// Put the outline of a shape round (x, y) into a path; crosses are strokes, all others closed.
export function shapePath(context, shape, x, y, r) {
  context.beginPath();
  if (shape === "triangle") {
    context.moveTo(x, y - r * 1.1);
    context.lineTo(x + r * 1.05, y + r * 0.8);
    context.lineTo(x - r * 1.05, y + r * 0.8);
    context.closePath();
  } else if (shape === "square") {
    context.rect(x - r * 0.75, y - r * 0.75, r * 1.5, r * 1.5);
  } else if (shape === "cross") {
    const k = r * 0.85;
    context.moveTo(x - k, y - k);
    context.lineTo(x + k, y + k);
    context.moveTo(x + k, y - k);
    context.lineTo(x - k, y + k);
  } else {
    context.arc(x, y, shape === "ring" ? r * 0.8 : r * 0.85, 0, 2 * Math.PI);
  }
}

export function drawShape(context, name, x, y, r) {
  const { shape, colour } = GRADES[name];
  shapePath(context, shape, x, y, r);
  context.fillStyle = context.strokeStyle = colour;
  context.lineWidth = shape === "cross" ? r * 0.55 : r * 0.3;
  context.lineCap = "round";
  if (shape === "cross" || shape === "ring") context.stroke();
  else context.fill();
}

// The same shapes for the page's list, as SVG.
export function shapeIcon(name) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", "0 0 16 16");
  svg.setAttribute("aria-hidden", "true");
  const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
  path.setAttribute("d", ICONS[GRADES[name].shape]);
  svg.append(path);
  return svg;
}

export function setShapeIcon(svg, name) {
  svg.firstChild.setAttribute("d", ICONS[GRADES[name].shape]);
}

const ICONS = {
  square: "M2.5 2.5h11v11h-11z",
  disc: "M8 2a6 6 0 1 0 .01 0z",
  triangle: "M8 1.5 15 14H1z",
  cross: "M3.4 1.3 8 5.9l4.6-4.6 2.1 2.1L10.1 8l4.6 4.6-2.1 2.1L8 10.1l-4.6 4.6-2.1-2.1L5.9 8 1.3 3.4z",
  ring: "M8 2a6 6 0 1 0 .01 0zM8 4a4 4 0 1 1-.01 0z",
};
