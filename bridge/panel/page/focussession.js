// A focus session as one page has it: which heads and marks are worked through, which head and mark are in hand now,
// and what is sighted. Says things to the bridge; draws nothing.

export class Session {
  constructor(app) {
    Object.assign(this, { app, heads: new Set(), marks: new Set(), head: "", mark: "", several: false, awaited: null });
    this.taken = new Set(); // heads that this page took into its hands
    this.darkened = new Set(); // those it only took to make them dark
    this.hangs = { by: null, lands: null, head: "" }; // by: what it rests on; null: not told yet
    this.listeners = [];
    this.order = app.settings.get("focus.order", "head");
    this.byItself = app.settings.get("focus.by-itself", true);
    this.alone = false;
    app.store.on("scene", (scene) => this.takeScene(scene));
    app.store.on("frame", () => this.keepAlone());
    app.store.on("news", (news) => this.heard(news));
  }

  on(run) {
    this.listeners.push(run);
  }

  changed(what) {
    for (const run of this.listeners) run(what);
  }

  takeScene(scene) {
    const heads = scene.heads.map((head) => head.name);
    const marks = Object.keys(scene.marks).filter((name) => scene.marks[name].at);
    const fresh = this.name !== scene.name;
    this.name = scene.name;
    this.heads = new Set(fresh ? heads : heads.filter((name) => this.heads.has(name)));
    this.marks = new Set(fresh ? marks : marks.filter((name) => this.marks.has(name) || !this.known?.has(name)));
    this.known = new Set(marks);
    if (!heads.includes(this.head)) this.head = heads[0] ?? "";
    if (!marks.includes(this.mark)) this.mark = this.firstMark(this.head) ?? marks[0] ?? "";
    this.sightings = new Set(scene.sightings.map((one) => key(one.fixture, one.mark)));
    this.refresh();
    this.changed("scene");
    const { awaited } = this;
    if (awaited?.fresh && this.sighted(awaited.head, awaited.mark)) this.written();
  }

  // What is known

  sighted(head, mark) {
    return Boolean(this.sightings?.has(key(head, mark)));
  }

  doneOf(head) {
    return [...this.marks].filter((mark) => this.sighted(head, mark)).length;
  }

  headsOn(mark) {
    return [...this.heads].filter((head) => this.sighted(head, mark)).length;
  }

  get total() {
    return this.heads.size * this.marks.size;
  }

  get done() {
    return [...this.heads].reduce((sum, head) => sum + this.doneOf(head), 0);
  }

  scene(name = this.head) {
    return this.app.store.scene?.heads.find((head) => head.name === name) ?? null;
  }

  frame(name = this.head) {
    const { scene, frame } = this.app.store;
    const number = scene?.heads.findIndex((head) => head.name === name) ?? -1;
    return number < 0 ? null : frame?.heads[number] ?? null;
  }

  get mine() {
    return [...this.taken, ...this.darkened].filter((name) => this.frame(name)?.in_hand);
  }

  // Choosing

  chooseHead(name) {
    if (this.several) toggle(this.heads, name);
    else this.goTo(name, this.mark);
    this.changed("choice");
  }

  chooseMark(name) {
    if (this.several) toggle(this.marks, name);
    else this.goTo(this.head, name);
    this.changed("choice");
  }

  goTo(head, mark) {
    const before = this.head;
    this.heads.add(head);
    this.marks.add(mark);
    Object.assign(this, { head, mark });
    if (before !== head) {
      this.hangs = { by: null, lands: null, head };
      this.refresh();
      if (this.alone && this.taken.has(head)) this.osc("level", 0.2);
    }
    this.changed("choice");
  }

  firstMark(head) {
    return [...this.marks].find((mark) => !this.sighted(head, mark));
  }

  // The next head and mark that are not sighted, in the order chosen; null when all is done.
  following() {
    const [heads, marks] = [[...this.heads], [...this.marks]];
    const byHead = this.order === "head";
    const pairs = byHead
      ? heads.flatMap((head) => marks.map((mark) => [head, mark]))
      : marks.flatMap((mark) => heads.map((head) => [head, mark]));
    const here = pairs.findIndex(([head, mark]) => head === this.head && mark === this.mark);
    const turned = [...pairs.slice(here + 1), ...pairs.slice(0, here + 1)];
    return turned.find(([head, mark]) => !this.sighted(head, mark) && !(head === this.head && mark === this.mark)) ?? null;
  }

  next() {
    const found = this.following();
    if (!found) {
      this.tell("Every chosen head is sighted on every chosen mark. Solve is next.", "good");
      return;
    }
    const before = this.head;
    this.goTo(...found);
    if (before !== this.head && this.taken.has(before) && [...this.marks].every((mark) => this.sighted(before, mark))) this.giveBack(before);
    this.near();
  }

  // Saying

  osc(what, ...args) {
    this.taken.add(this.head);
    this.darkened.delete(this.head);
    return this.app.link.osc(`/sight/${this.head}/${what}`, ...args);
  }

  async ask(what, data = {}) {
    const head = this.head;
    try {
      const answer = await this.app.link.ask(what, { head, ...data });
      this.learn(head, answer);
      return answer;
    } catch (error) {
      this.tell(error.message, "bad");
      return null;
    }
  }

  learn(head, answer) {
    if (head !== this.head || answer.by === undefined) return;
    this.hangs = { head, by: answer.by, lands: answer.lands ?? this.hangs.lands };
    this.changed("hangs");
  }

  // Quietly ask anew how the head hangs and where its beam is by that.
  async refresh() {
    const head = this.head;
    if (!head || !this.app.link.open) return;
    try {
      this.learn(head, await this.app.link.ask("hangs", { head }));
    } catch {
      // the bridge is not heard yet
    }
  }

  near() {
    this.taken.add(this.head);
    this.darkened.delete(this.head);
    return this.ask("near", { mark: this.mark });
  }

  async nearAll() {
    for (const head of this.heads) {
      this.taken.add(head);
      try {
        await this.app.link.ask("near", { head, mark: this.mark });
      } catch (error) {
        this.tell(error.message, "bad");
      }
    }
  }

  nudge(dx, dy) {
    this.taken.add(this.head);
    return this.ask("nudge", { dx, dy });
  }

  record() {
    this.awaited = { head: this.head, mark: this.mark, at: performance.now(), fresh: !this.sighted(this.head, this.mark) };
    this.osc("record", this.mark);
    this.changed("awaited");
  }

  heard(news) {
    if (news.old) return;
    const { awaited } = this;
    if (news.what === "sighting" || news.what === "forgotten") {
      this.sightings?.[news.what === "sighting" ? "add" : "delete"](key(news.fixture, news.mark));
      this.changed(news.what);
      if (news.what === "sighting" && awaited?.head === news.fixture && awaited.mark === news.mark) this.written();
    }
  }

  // What was to be recorded is on disk, told by the bridge or seen in the file, whichever comes first.
  written() {
    const { head, mark } = this.awaited;
    this.awaited = null;
    if (this.byItself && this.head === head && this.mark === mark) this.next();
  }

  giveBack(head) {
    this.app.link.osc(`/sight/${head}/done`);
    this.taken.delete(head);
    this.darkened.delete(head);
    this.changed("choice");
  }

  giveAllBack() {
    for (const head of this.mine) this.giveBack(head);
    this.setAlone(false);
  }

  // Only the head in hand is lit: others in hand are taken down, those that follow are taken in hand, dark, until this ends.
  setAlone(on) {
    this.alone = on;
    if (!on) {
      for (const head of [...this.darkened]) this.giveBack(head);
      for (const head of this.taken) if (this.frame(head)?.in_hand) this.app.link.osc(`/sight/${head}/level`, 0.2);
    }
    this.changed("choice");
  }

  keepAlone() {
    const { scene, frame } = this.app.store;
    if (!this.alone || this.app.tab !== "focus" || performance.now() - (this.askedAlone ?? 0) < 300) return;
    this.askedAlone = performance.now();
    frame.heads.forEach((head, number) => {
      const { name } = scene.heads[number];
      if (name === this.head || head.level < 0.003) return;
      if (!this.taken.has(name)) this.darkened.add(name);
      this.app.link.osc(`/sight/${name}/level`, 0);
    });
  }
}

const key = (head, mark) => `${head}\n${mark}`;

function toggle(set, name) {
  if (!set.delete(name)) set.add(name);
}
