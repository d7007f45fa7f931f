// What the other hand does: light, level, size and height, heads.

export function mountControls(root, app) {
  root.dataset.target = app.hand.target;
}
