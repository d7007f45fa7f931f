// The screen: focus.

export function mount(root, app) {
  root.dataset.app = app.tab;
}
