// Keys on the screen Follow, by the table of bindings: never while somebody types, nor on a control that uses the key.

const TYPED = "input:not([type=range]):not([type=checkbox]):not([type=radio]), textarea, select, [contenteditable]";
const MOVES = new Set(["ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown", "Home", "End", "PageUp", "PageDown"]);
const PRESSES = new Set([" ", "Enter"]);

export const keyOf = (event) => (event.key.length === 1 ? event.key.toLowerCase() : event.key);

// Whether the element under the keyboard does something of its own with this key.
export function usedBy(element, key) {
  if (!(element instanceof Element)) return false;
  if (element.closest(TYPED)) return true;
  if (element.closest("input[type=range], [role=tab], [role=slider], [role=radio]") && MOVES.has(key)) return true;
  return Boolean(element.closest("button, summary, a[href], input, [role=button], [role=switch]")) && PRESSES.has(key);
}

export class Keys {
  constructor(app, bindings) {
    Object.assign(this, { app, bindings, held: new Map() }); // KeyboardEvent.code -> action
    window.addEventListener("keydown", (event) => this.down(event));
    window.addEventListener("keyup", (event) => this.up(event), true);
    window.addEventListener("blur", () => this.releaseAll());
    document.addEventListener("visibilitychange", () => document.hidden && this.releaseAll());
    document.addEventListener("focusin", (event) => event.target.closest?.(TYPED) && this.releaseAll());
    app.onTab.push((name) => name !== "follow" && this.releaseAll());
    bindings.onChange(() => this.releaseAll());
  }

  get idle() {
    return this.app.tab !== "follow" || document.querySelector("dialog[open]") !== null;
  }

  down(event) {
    if (this.idle || event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
    const key = keyOf(event);
    const action = this.bindings.find("key", key);
    if (!action || usedBy(event.target, key)) return;
    if (key !== "Shift") event.preventDefault();
    if (event.repeat || this.held.has(event.code)) return;
    this.held.set(event.code, action);
    action.run(true);
  }

  up(event) {
    const action = this.held.get(event.code);
    if (!action) return;
    this.held.delete(event.code);
    if (action.hold && ![...this.held.values()].includes(action)) action.run(false);
  }

  // A key that comes up elsewhere is never told: all that was held ends here.
  releaseAll() {
    const held = [...this.held.values()];
    this.held.clear();
    for (const action of held) if (action.hold) action.run(false);
  }
}
