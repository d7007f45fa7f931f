// The hand on the target: where it wants the performer to be, told to the bridge 60 times a second.

export class Hand {
  constructor(app) {
    this.app = app;
    this.target = "";
    app.store.on("scene", (scene) => {
      if (!scene.targets.some((target) => target.name === this.target)) this.target = scene.targets[0].name;
    });
  }
}
