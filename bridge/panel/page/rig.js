// The screen: rig.

export function mount(root, app) {
  root.dataset.app = app.tab;
}
