// What a stick means: dead zone, curve and edge. Pure: no pad, no page.

export const USUAL = { dead: 0.12, edge: 0.95, curve: 1.8, top: 4, stick: "left", second: "none", triggers: "none" };
export const LIMITS = { dead: [0, 0.5, 0.01], edge: [0.6, 1, 0.01], curve: [1, 4, 0.1], top: [0.2, 10, 0.1] };
export const CHOICES = { stick: ["left", "right"], second: ["none", "size and height"], triggers: ["none", "level", "fine"] };

// Settings that may come from anywhere, as ones that can be used.
export function safe(kept) {
  const found = { ...USUAL };
  for (const [key, [low, high]] of Object.entries(LIMITS)) {
    if (Number.isFinite(kept?.[key])) found[key] = Math.min(high, Math.max(low, kept[key]));
  }
  for (const [key, words] of Object.entries(CHOICES)) if (words.includes(kept?.[key])) found[key] = kept[key];
  return found;
}

// A stick at x, y (-1..1 each) as a direction and share of the top speed: inside the unit circle. Radial: the dead zone
// is round, and just outside it the share begins at 0; from `edge` on it is 1, as few sticks reach further in corners.
export function shape(x, y, { dead = USUAL.dead, edge = USUAL.edge, curve = USUAL.curve } = {}) {
  const far = Math.hypot(x, y);
  if (!Number.isFinite(far) || far <= dead) return [0, 0];
  const share = Math.min(1, (far - dead) / Math.max(edge - dead, 1e-6)) ** curve;
  return [(x / far) * share, (y / far) * share];
}

// Metres per second to the right and away from the one who steers; a pad's y is negative away.
export function velocity(x, y, settings) {
  const [right, back] = shape(x, y, settings);
  return [right * settings.top + 0, -back * settings.top + 0];
}

// One axis or trigger, for rates: past the dead zone, by the curve, sign kept.
export function rate(value, settings) {
  return shape(value, 0, settings)[0];
}
