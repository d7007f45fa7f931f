// What the page knows: the newest scene and frame, who it is, and whom it tells of changes. Nothing here draws.

const TRAIL_S = 6;
const KEPT_NEWS = 300;
const INPUT = "input "; // begins the name of a tracking input as who steers, beside hosts

export class Store {
  constructor() {
    this.scene = null;
    this.frame = null;
    this.me = { name: "", id: 0 };
    this.news = [];
    this.trails = new Map(); // target -> [{t, x, y}]
    this.frameAt = -Infinity; // performance.now() of the last frame
    this.listeners = { scene: [], frame: [], news: [], me: [], link: [] };
  }

  // on("frame", run): `run(value)` after every change; returns the function that ends it.
  on(what, run) {
    this.listeners[what].push(run);
    return () => {
      this.listeners[what] = this.listeners[what].filter((other) => other !== run);
    };
  }

  tell(what, value) {
    for (const run of this.listeners[what]) run(value);
  }

  take(message) {
    if (message.kind === "frame") this.takeFrame(message.frame);
    else if (message.kind === "scene") {
      this.scene = message.scene;
      this.frame = null;
      this.tell("scene", this.scene);
    } else if (message.kind === "news") {
      this.news.push(message.news);
      if (this.news.length > KEPT_NEWS) this.news.shift();
      this.tell("news", message.news);
    } else if (message.kind === "me") {
      this.me = { name: message.name, id: message.id };
      this.tell("me", this.me);
    }
  }

  takeFrame(frame) {
    if (!this.scene || frame.heads.length !== this.scene.heads.length) return; // of the scene before
    this.frame = frame;
    this.frameAt = performance.now();
    for (const target of frame.targets) {
      const trail = this.trails.get(target.name) ?? [];
      const last = trail[trail.length - 1];
      if (target.age >= 0 && (!last || last.x !== target.x || last.y !== target.y)) trail.push({ t: frame.t, x: target.x, y: target.y });
      while (trail.length && trail[0].t < frame.t - TRAIL_S) trail.shift();
      this.trails.set(target.name, trail);
    }
    this.tell("frame", frame);
  }

  target(name) {
    return this.frame?.targets.find((target) => target.name === name) ?? null;
  }

  // The heads that follow a target, as [{name, ...head, number}].
  crew(name) {
    if (!this.frame) return [];
    return this.frame.heads
      .map((head, number) => ({ ...head, name: this.scene.heads[number].name, number }))
      .filter((head) => head.target === name);
  }

  lit(name) {
    return this.crew(name).some((head) => head.level > 0.003);
  }

  // Whose hand is on a target: "me", another's name, or "" for nobody.
  hand(name) {
    const sender = this.target(name)?.hand ?? "";
    if (!sender) return "";
    const [who] = sender.split("@");
    return sender.includes("@") && who === this.me.name ? "me" : sender.includes("@") ? who : sender;
  }

  // The tracking input that steers a target; "" where a hand does, or nobody. Operators have an @ in their names.
  tracker(name) {
    const sender = this.target(name)?.hand ?? "";
    return sender.startsWith(INPUT) && !sender.includes("@") ? sender.slice(INPUT.length) : "";
  }

  // Milliseconds since the bridge itself was heard, by the page's own clock too.
  get silentMs() {
    if (!this.frame) return Infinity;
    const since = performance.now() - this.frameAt;
    return this.frame.age === null ? Infinity : this.frame.age + since;
  }
}
