// The screen on which a performer is followed.

import { el } from "./dom.js";
import { Plan } from "./plan.js";

export function mount(root, app) {
  const host = el("div", { class: "plan" });
  root.append(host);
  app.plan = new Plan(host, app.store);
}
