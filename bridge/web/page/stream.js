// The stream of scenes and frames to a page. Survives a program that stops: it keeps trying, and says how long nothing came.

const FIRST_WAIT_MS = 400;
const LONGEST_WAIT_MS = 2000;
const SILENT_AFTER_S = 1.5; // a stream that is slower than this is as good as stopped

export class Stream {
  constructor(address, { onScene, onFrame, who = "The venue" }) {
    Object.assign(this, { address, onScene, onFrame, who });
    this.wait = FIRST_WAIT_MS;
    this.last = performance.now();
    this.received = 0;
    this.connected = false;
    this.connect();
  }

  connect() {
    const socket = new WebSocket(this.address);
    socket.onopen = () => {
      this.connected = true;
      this.wait = FIRST_WAIT_MS;
    };
    socket.onmessage = (event) => this.read(event.data);
    socket.onclose = () => {
      this.connected = false;
      setTimeout(() => this.connect(), this.wait);
      this.wait = Math.min(LONGEST_WAIT_MS, this.wait * 1.5);
    };
  }

  read(text) {
    let message;
    try {
      message = JSON.parse(text);
    } catch {
      return; // not for us: the silence shows on the banner
    }
    if (message.kind === "scene") this.onScene(message.scene);
    if (message.kind === "frame") {
      this.last = performance.now();
      this.received += 1;
      this.onFrame(message.frame);
    }
  }

  get silentFor() {
    return (performance.now() - this.last) / 1000;
  }

  // What the banner says; empty while all is well.
  get trouble() {
    const seconds = Math.floor(this.silentFor);
    if (this.silentFor < SILENT_AFTER_S) return "";
    const why = this.connected
      ? `${this.who} is there but sends nothing.`
      : `${this.who} has stopped or cannot be reached. This page goes on by itself when it is back.`;
    return `No data for ${seconds} s. ${why}`;
  }
}
