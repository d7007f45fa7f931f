// Hands on the drawing: mouse, touch and keys. One finger turns the perspective (or moves plan and section), two move and
// zoom; Shift or the right button moves.

const STEP = 24; // pixels per press of an arrow key
const WHEEL = 0.0015;

export function listen(canvas, actions) {
  const held = new Map();
  const at = (event) => {
    const box = canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };

  canvas.addEventListener("pointerdown", (event) => {
    canvas.focus({ preventScroll: true });
    canvas.setPointerCapture(event.pointerId);
    held.set(event.pointerId, at(event));
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!held.has(event.pointerId)) return;
    const before = [...held.values()];
    const [x0, y0] = held.get(event.pointerId);
    const [x, y] = at(event);
    held.set(event.pointerId, [x, y]);
    if (held.size === 1) {
      const move = event.shiftKey || event.buttons & 6;
      actions.drag(x - x0, y - y0, Boolean(move));
    } else if (held.size === 2) {
      pinch(before, [...held.values()], actions);
    }
  });
  for (const name of ["pointerup", "pointercancel", "lostpointercapture"]) {
    canvas.addEventListener(name, (event) => held.delete(event.pointerId));
  }
  canvas.addEventListener("contextmenu", (event) => event.preventDefault());
  canvas.addEventListener("wheel", (event) => {
    event.preventDefault();
    const lines = event.deltaMode === 1 ? 24 : 1;
    actions.zoom(Math.exp(Math.max(-300, Math.min(300, event.deltaY * lines)) * WHEEL), ...at(event));
  }, { passive: false });
  canvas.addEventListener("keydown", (event) => key(event, actions));
}

function pinch([a0, b0], [a1, b1], actions) {
  const middle = (a, b) => [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
  const apart = (a, b) => Math.max(10, Math.hypot(a[0] - b[0], a[1] - b[1]));
  const [before, after] = [middle(a0, b0), middle(a1, b1)];
  actions.drag(after[0] - before[0], after[1] - before[1], true);
  actions.zoom(apart(a0, b0) / apart(a1, b1), ...after);
}

function key(event, actions) {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const arrows = { ArrowLeft: [-STEP, 0], ArrowRight: [STEP, 0], ArrowUp: [0, -STEP], ArrowDown: [0, STEP] };
  const others = {
    1: () => actions.view("plan"),
    2: () => actions.view("section"),
    3: () => actions.view("free"),
    0: actions.whole,
    "+": () => actions.zoom(0.87),
    "=": () => actions.zoom(0.87),
    "-": () => actions.zoom(1.15),
    b: actions.believe,
    Escape: () => actions.choose(-1),
  };
  const run = arrows[event.key] ? () => actions.drag(...arrows[event.key], event.shiftKey) : others[event.key];
  if (!run) return;
  event.preventDefault();
  run();
}
