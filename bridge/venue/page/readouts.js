// The list beside the drawing: one read-out per head, and the sum of all. Written at most four times a second: faster
// numbers cannot be read.

import { GRADES, centimetres, grade, isMeasured, setShapeIcon, shapeIcon } from "./grades.js";
import { beliefOffset } from "./heads.js";

const EVERY_MS = 250;

function element(tag, values = {}, ...children) {
  const made = Object.assign(document.createElement(tag), values);
  made.append(...children);
  return made;
}

export class Readouts {
  constructor(onChoose) {
    this.list = document.getElementById("readouts");
    this.rows = [];
    this.written = 0;
    this.onChoose = onChoose;
    const legend = Object.entries(GRADES).map(([name, { text }]) => {
      const item = element("li", { className: `grade-${name}` });
      item.append(shapeIcon(name), text);
      return item;
    });
    this.believed = element("li", { className: "believed", hidden: true, textContent: "\u25c7 believed beam lands this far off" });
    document.getElementById("legend").replaceChildren(...legend, this.believed);
  }

  // Build the list for a scene, by truss.
  build(scene) {
    const groups = new Map();
    scene.heads.forEach((head, i) => {
      const name = head.truss || "no truss";
      groups.set(name, [...(groups.get(name) ?? []), [head, i]]);
    });
    this.rows = new Array(scene.heads.length);
    const sections = [...groups].map(([name, members]) => {
      const grid = element("div", { className: "grid" }, ...members.map(([head, i]) => this.row(head, i)));
      return element("section", {}, element("h2", { textContent: name }), grid);
    });
    this.list.replaceChildren(...sections);
    this.list.classList.toggle("many", scene.heads.length > 18);
    this.written = 0;
  }

  row(head, i) {
    const icon = shapeIcon("dark");
    const value = element("span", { className: "value", textContent: "–" });
    const extra = element("span", { className: "extra" });
    const word = element("b");
    const button = element("button", { type: "button", className: "head grade-dark" },
      element("span", { className: "name" }, element("span", { textContent: head.name }), word), value, extra);
    button.prepend(icon);
    button.setAttribute("aria-pressed", "false");
    button.title = [head.name, head.profile].filter(Boolean).join(", ");
    button.addEventListener("click", () => this.onChoose(i));
    this.rows[i] = { button, icon, value, extra, word, name: head.name, mark: "dark" };
    return button;
  }

  choose(chosen) {
    this.rows.forEach(({ button }, i) => button.setAttribute("aria-pressed", String(i === chosen)));
  }

  write(frame, believe, now) {
    if (!frame || now - this.written < EVERY_MS) return;
    this.written = now;
    this.believed.hidden = !believe;
    this.rows.forEach((row, i) => {
      const head = frame.heads[i];
      if (head) this.fill(row, head, believe);
    });
    this.sum(frame);
  }

  fill(row, head, believe) {
    const mark = grade(head);
    if (mark !== row.mark) {
      row.button.classList.replace(`grade-${row.mark}`, `grade-${mark}`);
      setShapeIcon(row.icon, mark);
      row.word.textContent = mark === "off" ? GRADES.off.word : "";
      row.mark = mark;
    }
    const value = mark === "dark" || mark === "lit" ? GRADES[mark].word : centimetres(head.error_m);
    if (row.value.textContent !== value) row.value.textContent = value;
    const offset = believe && mark !== "dark" ? beliefOffset(head) : null;
    const extra = offset === null ? "" : `\u25c7 ${centimetres(offset)}`;
    if (row.extra.textContent !== extra) row.extra.textContent = extra;
  }

  sum(frame) {
    const measured = frame.heads.map((head, i) => [head, i]).filter(([head]) => isMeasured(head));
    const lit = frame.heads.filter((head) => head.level > 0.01).length;
    const squares = measured.reduce((total, [head]) => total + head.error_m ** 2, 0);
    const worst = measured.reduce((best, pair) => (!best || pair[0].error_m > best[0].error_m ? pair : best), null);
    const set = (id, text) => (document.getElementById(id).textContent = text);
    set("lit", `${lit} of ${frame.heads.length}`);
    set("rms", measured.length ? centimetres(Math.sqrt(squares / measured.length)) : "–");
    set("worst", worst ? `${centimetres(worst[0].error_m)} ${this.rows[worst[1]]?.name ?? ""}` : "–");
  }
}
