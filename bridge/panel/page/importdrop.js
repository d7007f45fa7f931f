// A file of another program comes to the screen Rig: dropped anywhere on it, or chosen by a button.

import { el, show } from "./dom.js";

export const KINDS = [".gdtf", ".mvr", ".csv"];
const OVER_MS = 700; // without news of a drag for so long it has gone elsewhere

export function mountImport(host, app) {
  const input = el("input", { type: "file", accept: KINDS.join(","), hidden: true, "aria-label": "File to import", tabindex: "-1" });
  const button = el("button", { type: "button", class: "i-choose", onclick: () => input.click() }, "Import a file");
  host.append(el("section", { class: "i-way" }, el("h2", {}, "From other programs"), button, input,
    el("p", { class: "quiet" }, "A fixture type (.gdtf), a drawing (.mvr) or a list (.csv). You see what would change before anything does. It can also be dropped on this screen.")));
  const look = (files) => files.length && openSheet(files, app, button);
  input.addEventListener("change", () => {
    look([...input.files]);
    input.value = ""; // the same file can be chosen again
  });
  watchDrops(app, look);
}

async function openSheet(files, app, button) {
  const { ImportSheet } = await import("./importsheet.js");
  if (document.querySelector("dialog[open]")) return; // something else was opened meanwhile
  if (files.length > 1) app.say(`One file at a time: this is ${files[0].name}.`);
  new ImportSheet(app, files[0], button);
}

// On every screen: a browser would leave the page for a file that is dropped on it.
function watchDrops(app, look) {
  const over = el("div", { class: "i-over", hidden: true, "aria-hidden": "true" },
    el("p", {}, "Drop to look at it: nothing changes yet"), el("p", { class: "i-kinds" }, KINDS.join("   ")));
  document.body.append(over);
  let timer = 0;
  const hide = () => show(over, false);
  const ours = (event) => [...(event.dataTransfer?.types ?? [])].includes("Files");
  const wanted = () => app.tab === "rig" && !document.querySelector("dialog[open]");
  for (const name of ["dragenter", "dragover"]) {
    window.addEventListener(name, (event) => {
      if (!ours(event)) return;
      event.preventDefault();
      event.dataTransfer.dropEffect = wanted() ? "copy" : "none";
      show(over, wanted());
      clearTimeout(timer);
      timer = setTimeout(hide, OVER_MS);
    });
  }
  window.addEventListener("dragleave", (event) => event.relatedTarget || hide());
  window.addEventListener("drop", (event) => {
    if (!ours(event)) return;
    event.preventDefault();
    hide();
    if (wanted()) look([...event.dataTransfer.files]);
  });
}
