// Words on the drawing. A label that would lie on another tries other places round its point, then gives way.

export const FONT = '"Segoe UI", "Noto Sans", "DejaVu Sans", system-ui, sans-serif';

const OUT = 12;
const PLACES = [[0, -1], [1, -0.6], [-1, -0.6], [1, 0.8], [-1, 0.8], [0, 1.2]];

export class Labels {
  // `height`: where it is given, no label is cut at the upper or lower edge. `taken`: boxes that are written already.
  constructor(context, width = Infinity, height = Infinity, taken = []) {
    this.context = context;
    this.width = width;
    this.height = height;
    this.taken = [...taken];
  }

  // Write `text` near (x, y). Returns whether there was room.
  write(text, x, y, { colour = "#f3e7d8", size = 13, weight = 500, gap = 10, always = false, fixed = false } = {}) {
    if (x < -OUT || x > this.width + OUT) return false; // what it names is not in the picture
    const context = this.context;
    context.font = `${weight} ${size}px ${FONT}`;
    const width = context.measureText(text).width + 6;
    const height = size + 5;
    for (const [px, py] of fixed ? [[0, 0]] : PLACES) {
      const wished = x - width / 2 + px * (width / 2 + gap);
      const left = Math.max(4, Math.min(this.width - width - 4, wished));
      const under = y - height / 2 + py * (height / 2 + gap);
      const top = Number.isFinite(this.height) ? Math.max(2, Math.min(this.height - height - 2, under)) : under;
      const box = [left, top, left + width, top + height];
      const cut = Math.abs(top - under) > 2; // moved back into the picture it would lie on what it names
      if ((cut || !this.free(box)) && !always) continue;
      this.taken.push(box);
      context.textAlign = "left";
      context.textBaseline = "middle";
      context.lineJoin = "round";
      context.lineWidth = 4;
      context.strokeStyle = "rgba(16, 11, 8, 0.85)";
      context.strokeText(text, left + 3, top + height / 2 + 0.5);
      context.fillStyle = colour;
      context.fillText(text, left + 3, top + height / 2 + 0.5);
      return true;
    }
    return false;
  }

  free([x0, y0, x1, y1]) {
    return this.taken.every(([a, b, c, d]) => x1 < a || x0 > c || y1 < b || y0 > d);
  }
}

// Keeps labels of what stands still, to be written over the light of every picture.
export class Notes {
  constructor() {
    this.list = [];
  }

  write(...label) {
    this.list.push(label);
  }

  writeTo(labels) {
    for (const label of this.list) labels.write(...label);
  }
}
