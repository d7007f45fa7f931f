// What this browser remembers by itself: names, choices of hands and pads. Lost storage costs the choice and no more.

const PREFIX = "tetherlight.";

export class Settings {
  constructor() {
    this.values = new Map();
    this.tabKey = this.read(sessionStorage, "tab") ?? this.newKey();
  }

  newKey() {
    const key = Array.from(crypto.getRandomValues(new Uint8Array(12)), (value) => value.toString(16).padStart(2, "0")).join("");
    this.write(sessionStorage, "tab", key);
    return key;
  }

  get(key, otherwise) {
    if (!this.values.has(key)) this.values.set(key, this.read(localStorage, key) ?? undefined);
    return this.values.get(key) ?? otherwise;
  }

  set(key, value) {
    this.values.set(key, value);
    this.write(localStorage, key, value);
  }

  read(storage, key) {
    try {
      return JSON.parse(storage.getItem(PREFIX + key));
    } catch {
      return null;
    }
  }

  write(storage, key, value) {
    try {
      storage.setItem(PREFIX + key, JSON.stringify(value));
    } catch {
      // a full or forbidden storage
    }
  }
}
