// The websocket to the panel. Survives whatever happens to it: it keeps trying, and asks that got no answer are told so.

const FIRST_WAIT_MS = 150;
const LONGEST_WAIT_MS = 1000;
const PING_MS = 1000;
const ASK_MS = 60000;
const ELSEWHERE = 4001; // the same tab has connected anew: this line is the older one

export class Link {
  constructor(store, settings) {
    Object.assign(this, { store, settings, wait: FIRST_WAIT_MS, open: false, roundTripMs: null, elsewhere: false });
    this.asks = new Map();
    this.numbers = 0;
    this.key = settings.tabKey;
    this.connect();
    setInterval(() => this.ping(), PING_MS);
  }

  connect() {
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    const socket = new WebSocket(`${scheme}://${location.host}/stream`);
    this.socket = socket;
    socket.onopen = () => {
      this.open = true;
      this.wait = FIRST_WAIT_MS;
      this.say({ do: "name", name: this.settings.get("name", "") || "operator", key: this.key });
      this.store.tell("link", true);
    };
    socket.onmessage = (event) => this.read(event.data);
    socket.onclose = (event) => this.closed(event.code);
  }

  closed(code) {
    this.open = false;
    this.roundTripMs = null;
    for (const [, ask] of this.asks) ask.reject(new Error("The line to the panel was cut before the answer came."));
    this.asks.clear();
    this.store.tell("link", false);
    this.elsewhere = code === ELSEWHERE;
    if (this.elsewhere) return;
    setTimeout(() => this.connect(), this.wait);
    this.wait = Math.min(LONGEST_WAIT_MS, this.wait * 1.5);
  }

  read(text) {
    const message = JSON.parse(text);
    if (message.kind === "pong") this.roundTripMs = performance.now() - this.pinged;
    else if (message.kind === "answer") this.answered(message);
    else this.store.take(message);
  }

  answered(message) {
    const ask = this.asks.get(message.id);
    if (!ask) return;
    this.asks.delete(message.id);
    clearTimeout(ask.timer);
    if (message.ok) ask.resolve(message);
    else ask.reject(Object.assign(new Error(message.text), { problems: message.problems ?? [], lines: message.lines ?? [] }));
  }

  say(message) {
    if (this.socket.readyState !== WebSocket.OPEN) return false;
    this.socket.send(JSON.stringify(message));
    return true;
  }

  // One OSC message to the bridge, at once. False where the line is cut.
  osc(address, ...args) {
    return this.say({ do: "osc", address, args });
  }

  // A question to the panel: resolves with its answer, rejects with an Error that has `problems`.
  ask(what, data = {}, withinMs = ASK_MS) {
    const id = (this.numbers += 1);
    return new Promise((resolve, reject) => {
      const timer = setTimeout(() => {
        this.asks.delete(id);
        reject(new Error("The panel has not answered in time."));
      }, withinMs);
      this.asks.set(id, { resolve, reject, timer });
      if (!this.say({ ...data, do: "ask", id, what })) {
        clearTimeout(timer);
        this.asks.delete(id);
        reject(new Error("The line to the panel is cut; it comes back by itself."));
      }
    });
  }

  ping() {
    this.pinged = performance.now();
    this.say({ do: "ping", id: (this.numbers += 1) });
  }

  rename(name) {
    this.settings.set("name", name);
    this.say({ do: "name", name, key: this.key });
  }
}
