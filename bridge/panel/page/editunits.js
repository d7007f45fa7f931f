// Lengths as people type them: `3.2`, `3.2 m`, `320 cm`, `10' 6 1/2"`. The same rules as bridge/show/units.py.

export const FARTHEST = 1000;
export const ALLOWED = "metres, or a length such as 3.2 m, 320 cm, 126 in or 10' 6\"";

const METRES = { m: 1, cm: 0.01, mm: 0.001, in: 0.0254, ft: 0.3048 };
const NUMBER = String.raw`(?:[0-9]{1,12}(?:\.[0-9]{0,12})?|\.[0-9]{1,12})`;
const BARE = new RegExp(`^[-+]?${NUMBER}$`);
const WITH_UNIT = new RegExp(`^([-+]?)\\s*(${NUMBER})\\s*(m|cm|mm|in|ft)$`);
const INCHES = `(?:(${NUMBER})|(?:([0-9]{1,6})[ -]+)?([0-9]{1,6})/([0-9]{1,6}))`;
const FEET_INCHES = new RegExp(`^([-+]?)\\s*(?:(${NUMBER})\\s*(?:'|ft))?\\s*(?:${INCHES}\\s*(?:"|''|in))?$`);

// Metres, or null where it is no length. A number is metres.
export function metres(value) {
  if (typeof value === "number") return Number.isFinite(value) ? value : null;
  const text = plain(value);
  if (BARE.test(text)) return Number(text);
  const unit = WITH_UNIT.exec(text);
  if (unit) return signed(unit[1], Number(unit[2]) * METRES[unit[3]]);
  const match = FEET_INCHES.exec(text);
  if (!match || !match.slice(2).some((part) => part !== undefined)) return null;
  const [, sign, feet, inches, whole, above, below] = match;
  if (below !== undefined && Number(below) === 0) return null;
  const more = below === undefined ? Number(inches ?? 0) : Number(whole ?? 0) + Number(above) / Number(below);
  return signed(sign, Number(feet ?? 0) * METRES.ft + more * METRES.in);
}

const plain = (value) => String(value ?? "").trim().replace(/[\u2032\u2019]/g, "'").replace(/[\u2033\u201d]/g, '"').replace(/\u2212/g, "-");
const signed = (sign, value) => (sign === "-" ? -value : value);

// What a field holds as it goes into the file: a number where it is one, else the text as typed; empty is null. Metres
// stay a number where they were one, although the field shows the unit.
export function written(text, old = null) {
  const found = plain(text);
  if (found === "") return null;
  const bare = typeof old === "string" ? found : found.replace(/ ?m$/, "");
  return BARE.test(bare) ? Number(bare) : text.trim();
}

export const typed = (value) => (typeof value === "number" ? `${value} m` : (value ?? ""));

// What is wrong with a length that is being typed; "" where nothing is.
export function wrong(value, { least = -FARTHEST, above = false, optional = false } = {}) {
  if (value === null || value === undefined || value === "") return optional ? "" : `Nothing is here; expected is ${ALLOWED}.`;
  const found = metres(value);
  if (found === null && /^[-+]?[0-9]+,[0-9]+/.test(plain(value))) return "This has a comma; a decimal point is expected, as in 3.2 m.";
  if (found === null) return `“${value}” is no length; expected is ${ALLOWED}.`;
  if (Math.abs(found) > FARTHEST) return `${round(found)} m is farther than ${FARTHEST} m. Written in mm? Then say so: 5000 mm.`;
  if (found < least || (above && found === least)) return above ? "A length above 0 is expected." : `At least ${least} m is expected.`;
  return "";
}

export const round = (value, digits = 3) => Number(value.toFixed(digits));

// Another length, said as the old one was: centimetres stay centimetres, everything else becomes metres.
export function like(old, value) {
  const unit = typeof old === "string" ? WITH_UNIT.exec(plain(old))?.[3] : null;
  if (unit === "cm") return `${round(value * 100, 1)} cm`;
  if (unit === "mm") return `${round(value * 1000, 0)} mm`;
  return unit === "m" ? `${round(value)} m` : round(value);
}

// What a field with a unit means in metres, to stand beside it; "" where it says metres already.
export function meaning(value) {
  if (typeof value !== "string" || /^[-+]?[0-9.]+( ?m)?$/.test(plain(value))) return "";
  const found = metres(value);
  return found === null ? "" : `= ${round(found, 4)} m`;
}
