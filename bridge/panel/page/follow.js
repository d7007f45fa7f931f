// The screen on which a performer is followed: the stage and the hand on it, and beside it what the other hand does.

import { mountControls } from "./controls.js";
import { el } from "./dom.js";
import { FollowStage } from "./followstage.js";
import { Hand } from "./hand.js";

export function mount(root, app) {
  const stage = el("div", { class: "stage" });
  const side = el("aside", { class: "side", "aria-label": "The other hand" });
  root.append(stage, side);
  app.hand = new Hand(app);
  app.target = () => app.hand.target;
  new FollowStage(stage, app);
  mountControls(side, app);
}
