// A press by any hand. While one finger is down, a browser makes no click of a second one: fingers are heard by themselves,
// so that one hand stays on the stage while the other presses.

// `run(event)` at every press. `down`: at once when the finger comes down, not when it is lifted.
export function onPress(element, run, { down = false } = {}) {
  let finger = null;
  let told = false; // of the press that is going on
  const heard = (event) => {
    told = true;
    run(event);
  };
  element.addEventListener("pointerdown", (event) => {
    if (element.disabled || event.button !== 0) return;
    told = false;
    if (down) heard(event);
    else if (event.pointerType !== "mouse") finger = event.pointerId;
  });
  element.addEventListener("pointercancel", (event) => {
    if (event.pointerId === finger) finger = null; // it scrolls
  });
  element.addEventListener("pointerup", (event) => {
    if (event.pointerId !== finger) return;
    finger = null;
    if (inside(element, event)) heard(event);
  });
  element.addEventListener("click", (event) => {
    if (event.detail && told) return; // a key's click has no detail
    run(event);
  });
  return element;
}

// `run(true)` when it goes down and `run(false)` when it comes up, by finger, mouse, pen, space or Enter.
export function onHold(element, run) {
  let held = null;
  const end = () => {
    if (held === null) return;
    held = null;
    run(false);
  };
  element.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || held !== null) return;
    held = event.pointerId;
    element.setPointerCapture(held);
    run(true);
  });
  for (const name of ["pointerup", "pointercancel", "lostpointercapture"]) {
    element.addEventListener(name, (event) => event.pointerId === held && end());
  }
  element.addEventListener("keydown", (event) => {
    if (![" ", "Enter"].includes(event.key) || event.repeat || held !== null) return;
    held = event.key;
    run(true);
  });
  element.addEventListener("keyup", (event) => event.key === held && end());
  element.addEventListener("blur", () => typeof held === "string" && end());
  window.addEventListener("blur", end);
  element.addEventListener("contextmenu", (event) => event.preventDefault()); // a long press of a finger
  return element;
}

function inside(element, { clientX, clientY }) {
  const box = element.getBoundingClientRect();
  return clientX >= box.left && clientX <= box.right && clientY >= box.top && clientY <= box.bottom;
}
