// ONE table of what can be done, for buttons, keys and pads alike; and which key and pad button does what.

const SIZE_A_SECOND = 0.5; // a held button makes the spot by so much larger in a second, times its size
const HEIGHT_M_S = 0.6;
const FIRST_S = 0.1; // a short press does as much as this long a hold

// Every action: id, words, the default key (KeyboardEvent.key, letters small) and pad button (W3C standard mapping), and
// `run(pressed)`. Those with `hold` are told of both ends, the others only of the beginning.
export function actions(app, controls) {
  const { light, size, height, steering } = controls;
  const steer = (id, words, key, pad) => ({ id: `steer-${id}`, words, key, pad, hold: true, run: (pressed) => steering.hold(id, pressed) });
  const grow = (id, words, key, pad, step) => ({ id, words, key, pad, hold: true, run: repeater(step) });
  const press = (id, words, key, pad, run) => ({ id, words, key, pad, hold: false, run });
  return [
    steer("left", "Steer to the left", "ArrowLeft", 14),
    steer("right", "Steer to the right", "ArrowRight", 15),
    steer("up", "Steer away from you", "ArrowUp", 12),
    steer("down", "Steer towards you", "ArrowDown", 13),
    { id: "fine", words: "Fine while held", key: "Shift", pad: 4, hold: true, run: (pressed) => steering.fine(pressed) },
    press("bring-up", "Bring up", "b", 0, () => light.bringUp()),
    press("fade-out", "Fade out", "f", 1, () => light.fadeOut()),
    press("dark", "Everything dark; twice to end", "d", 9, () => app.dark()),
    press("hold-all", "Hold all, or let them follow", "h", 3, () => controls.holdAll()),
    grow("size-down", "Spot smaller", "q", null, (s) => size.nudge(-SIZE_A_SECOND * s * size.value)),
    grow("size-up", "Spot larger", "w", null, (s) => size.nudge(SIZE_A_SECOND * s * size.value)),
    press("size-next", "Next named size", "e", 2, () => size.nextNamed()),
    grow("height-down", "Lower", "a", null, (s) => height.nudge(-HEIGHT_M_S * s)),
    grow("height-up", "Higher", "s", null, (s) => height.nudge(HEIGHT_M_S * s)),
    press("height-next", "Next named height", "z", null, () => height.nextNamed()),
    press("desk-all", "All heads to the desk, twice", "g", null, () => controls.heads.desk.giveAll()),
    press("desk-back", "All heads back from the desk", "r", null, () => controls.heads.desk.takeBack()),
    press("target-next", "Next target", "n", 5, () => controls.nextTarget()),
    press("practise", "Practise with the venue's performer, or end it", "p", null, () => app.practise()),
    press("take", "Take the target, twice if another steers", "t", 8, () => controls.take()),
  ];
}

// A step at once, and more for as long as it is held.
function repeater(step) {
  let timer = null;
  return (pressed) => {
    clearInterval(timer);
    timer = null;
    if (!pressed) return;
    step(FIRST_S);
    let last = performance.now();
    timer = setInterval(() => {
      const now = performance.now();
      if (now - last > 0) step((now - last) / 1000);
      last = now;
    }, 1000 / 60);
  };
}

export class Bindings {
  constructor(settings, table) {
    this.settings = settings;
    this.table = table;
    this.byId = new Map(table.map((action) => [action.id, action]));
    this.heard = [];
    this.read();
  }

  // What was chosen in this browser, where it is of a kind that can be pressed; else what the table says.
  read() {
    this.chosen = { key: {}, pad: {} };
    for (const kind of ["key", "pad"]) {
      const kept = this.settings.get(`bindings.${kind}`, {});
      for (const action of this.table) {
        const value = kept?.[action.id];
        this.chosen[kind][action.id] = value === null || fits(kind, value) ? value : action[kind];
      }
    }
  }

  of(kind, id) {
    return this.chosen[kind][id];
  }

  // The action on a key or button, or nothing.
  find(kind, value) {
    return this.table.find((action) => this.chosen[kind][action.id] === value);
  }

  // Bind it (null: to nothing). Who had it loses it, and is returned, to be said.
  bind(kind, id, value) {
    const before = value === null ? undefined : this.find(kind, value);
    if (before && before.id !== id) this.chosen[kind][before.id] = null;
    this.chosen[kind][id] = value;
    this.keep(kind);
    return before && before.id !== id ? before : null;
  }

  reset() {
    for (const kind of ["key", "pad"]) {
      this.settings.set(`bindings.${kind}`, {});
    }
    this.read();
    this.tell();
  }

  keep(kind) {
    const other = this.table.filter((action) => this.chosen[kind][action.id] !== action[kind]);
    this.settings.set(`bindings.${kind}`, Object.fromEntries(other.map(({ id }) => [id, this.chosen[kind][id]])));
    this.tell();
  }

  onChange(run) {
    this.heard.push(run);
  }

  tell() {
    for (const run of this.heard) run();
  }
}

const fits = (kind, value) => (kind === "key" ? typeof value === "string" && value.length > 0 : Number.isInteger(value) && value >= 0);

const KEY_WORDS = { ArrowLeft: "\u2190", ArrowRight: "\u2192", ArrowUp: "\u2191", ArrowDown: "\u2193", " ": "Space", PageUp: "Page up", PageDown: "Page down" };
// Of the standard mapping, by place: makers print other signs on them.
const PAD_WORDS = ["lower", "right", "left", "upper", "left shoulder", "right shoulder", "left trigger", "right trigger",
  "middle left", "middle right", "left stick pressed", "right stick pressed", "cross up", "cross down", "cross left", "cross right", "middle"];

export const keyWords = (key) => (key ? (KEY_WORDS[key] ?? (key.length === 1 ? key.toUpperCase() : key)) : "none");
export const padWords = (button) => (button === null || button === undefined ? "none" : `${button + 1}: ${PAD_WORDS[button] ?? "button"}`);
