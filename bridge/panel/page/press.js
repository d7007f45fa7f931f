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

function inside(element, { clientX, clientY }) {
  const box = element.getBoundingClientRect();
  return clientX >= box.left && clientX <= box.right && clientY >= box.top && clientY <= box.bottom;
}
