// The screen stays awake while the page is seen, and the battery of this device is known, where the browser allows it.

const LOW = 0.2;
const AGAIN_MS = 5000;
const WHY = "This page cannot keep the screen awake: browsers allow it only to pages over https or from this machine itself. Set this device's screen to stay on, or start the panel with --tls.";

export class Awake {
  constructor(app) {
    Object.assign(this, { app, lock: null, refused: false, asking: false });
    this.able = "wakeLock" in navigator && window.isSecureContext;
    document.addEventListener("visibilitychange", () => this.ask());
    setInterval(() => this.ask(), AGAIN_MS); // a lock is lost with a low battery, for one
    this.ask();
    if (!this.able) setTimeout(() => app.say(WHY, "warning"), 1500);
  }

  async ask() {
    if (!this.able || this.lock || this.asking || document.visibilityState !== "visible") return;
    this.asking = true;
    try {
      this.lock = await navigator.wakeLock.request("screen");
      this.refused = false;
      this.lock.addEventListener("release", () => { this.lock = null; });
    } catch {
      this.refused = true;
    }
    this.asking = false;
  }

  get sign() {
    if (this.lock) return ["dot", "Screen on"];
    if (!this.able) return ["triangle", "May sleep"];
    return this.refused ? ["triangle", "May sleep"] : ["ring", "Screen"];
  }
}

export class Battery {
  constructor() {
    this.battery = null;
    navigator.getBattery?.().then((battery) => { this.battery = battery; }, () => {});
  }

  get sign() {
    if (!this.battery) return ["none", ""];
    const { level, charging } = this.battery;
    const small = `${Math.round(level * 100)} %${charging ? "+" : ""}`;
    return [level < LOW && !charging ? "triangle" : "dot", "Battery", small];
  }
}
