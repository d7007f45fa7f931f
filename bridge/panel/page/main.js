// Boots the page: store, line, the strip above all, and the three screens.

import { show, write } from "./dom.js";
import * as focus from "./focus.js";
import * as follow from "./follow.js";
import { Link } from "./link.js";
import * as rig from "./rig.js";
import { Settings } from "./settings.js";
import { Status } from "./status.js";
import { Store } from "./store.js";

const SAID_MS = 7000;
const MOST_SAID = 4;
const byId = (id) => document.getElementById(id);
const settings = new Settings();
const store = new Store();
const link = new Link(store, settings);
const app = { store, link, settings, say, tab: "follow", onTab: [] };

// A sentence for the person: level "note", "warning" or "error". It goes by itself; a tap sends it away.
function say(text, level = "note") {
  const host = byId("says");
  if ([...host.children].some((other) => other.textContent === text)) return;
  const line = document.createElement("p");
  line.className = level;
  line.textContent = text;
  line.addEventListener("click", () => line.remove());
  host.append(line);
  while (host.children.length > MOST_SAID) host.firstChild.remove();
  setTimeout(() => line.remove(), SAID_MS);
}

const tabs = ["follow", "focus", "rig"];

function choose(name, focused = false) {
  app.tab = name;
  for (const other of tabs) {
    const tab = byId(`tab-${other}`);
    tab.setAttribute("aria-selected", String(other === name));
    tab.tabIndex = other === name ? 0 : -1;
    show(byId(other), other === name);
    if (other === name && focused) tab.focus();
  }
  for (const run of app.onTab) run(name);
}

for (const name of tabs) {
  byId(`tab-${name}`).addEventListener("click", () => choose(name));
}
byId("tabs").addEventListener("keydown", (event) => {
  const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
  if (!step) return;
  event.preventDefault();
  event.stopPropagation();
  choose(tabs[(tabs.indexOf(app.tab) + step + tabs.length) % tabs.length], true);
});

store.on("scene", (scene) => {
  write(byId("show-name"), scene.name);
  document.title = `${scene.name}: panel`;
});
store.on("news", (news) => {
  if (news.what === "refused" && news.sender !== "desk") say(news.text, "warning");
});

// Locked for the show, only Follow works: the rest can be looked at, and the lock taken off on Rig.
store.on("frame", (frame) => {
  const locked = Boolean(frame.bridge.locked);
  byId("focus").inert = locked;
  show(byId("locked"), locked && app.tab === "focus");
});

new Status(app, { signs: byId("signs"), dark: byId("dark"), banner: byId("banner"), text: byId("banner-text"), alert: byId("alert") });
follow.mount(byId("follow"), app);
focus.mount(byId("focus"), app);
rig.mount(byId("rig"), app);

// For tests and for the curious: what the page knows, read only by hand.
window.panel = app;
