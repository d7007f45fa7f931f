// Tables of the Rig screen: universes, inputs, refusals, counters, captures and the report.

import { el, mark, write } from "./dom.js";
import { ago } from "./rig.js";

const SHAPES = { sent: "dot", waiting: "ring", refused: "triangle", overruled: "triangle" };
const WORDS = { sent: "sent", waiting: "waiting", refused: "refused: another source is there", overruled: "overruled by a higher priority" };

const BAD_MS = 5; // a frame that late can be seen

export function mountTables(host, app) {
  const universes = table("Universes", ["Universe", "State", "Other source", "Its priority"]);
  const inputs = table("Inputs", ["Target", "Whose hand", "Last heard", "Place"]);
  const counts = table("Refused messages", ["Reason", "How many"]);
  const counters = table("Counters", ["What", "Now"]);
  host.append(universes.box, inputs.box, counts.box, counters.box, captures(app));
  return (frame) => {
    universes.write(frame.universes.map((row) => [
      String(row.universe), [SHAPES[row.word], WORDS[row.word] ?? row.word], row.other || "none", row.other ? String(row.priority) : ""]));
    inputs.write(frame.targets.map((row) => [
      row.name, row.hand || "nobody", row.age < 0 ? "never" : `${Math.round(row.age)} ms ago`,
      row.age < 0 ? ["ring", "no place yet"] : [row.inside ? "dot" : "triangle", row.inside ? "inside" : "outside"]]));
    counts.write(Object.entries(frame.counts).sort((a, b) => b[1] - a[1]).map(([reason, n]) => [reason, String(n)]));
    counters.write(counterRows(frame, app));
  };
}

function counterRows(frame, app) {
  const { bridge, late } = frame;
  return [
    ["Messages obeyed", String(bridge.taken ?? "")],
    ["Messages refused", String(bridge.refused ?? "")],
    ["Packets sent", String(bridge.packets ?? "")],
    ["Send errors", [bridge.send_errors ? "triangle" : "dot", String(bridge.send_errors ?? "")]],
    ["Late frames", [late.worst_ms > BAD_MS ? "triangle" : "dot", `${late.frames ?? ""}, worst lately ${(late.worst_ms ?? 0).toFixed(1)} ms`]],
    ["Recording", late.recording ? ["dot", "yes"] : ["ring", "no"]],
    ["Solving", late.solving ? ["dot", "a solve runs"] : ["ring", "no"]],
    ["Round trip of this page", app.link.roundTripMs === null ? "" : `${app.link.roundTripMs.toFixed(1)} ms`],
    ["Pages open", frame.pages.join(", ")],
  ];
}

// A table that is written in place: rows of texts, or [shape, text] where a state is told.
function table(title, heads) {
  const body = el("tbody");
  const box = el("section", {}, el("h2", {}, title),
    el("table", { "aria-label": title }, el("thead", {}, el("tr", {}, ...heads.map((head) => el("th", { scope: "col" }, head)))), body));
  const writeRows = (rows) => {
    const wanted = rows.length ? rows : [heads.map((_, i) => (i ? "" : "none"))];
    while (body.rows.length > wanted.length) body.lastChild.remove();
    while (body.rows.length < wanted.length) body.append(el("tr", {}, ...heads.map(() => el("td"))));
    wanted.forEach((row, i) => row.forEach((cell, k) => writeCell(body.rows[i].cells[k], cell)));
  };
  return { box, write: writeRows };
}

function writeCell(cell, value) {
  if (!Array.isArray(value)) {
    if (cell.hasAttribute("data-shape")) {
      cell.removeAttribute("data-shape");
      cell.replaceChildren();
    }
    return write(cell, value);
  }
  if (!cell.hasAttribute("data-shape")) cell.replaceChildren(el("span", { class: "shape", "aria-hidden": "true" }), el("span"));
  mark(cell, "data-shape", value[0]);
  return write(cell.lastChild, value[1]);
}

function captures(app) {
  const list = el("ul", { class: "captures", "aria-label": "Captures" });
  const said = el("p", { class: "quiet" });
  const look = async () => {
    try {
      const { folder, captures: found } = await app.link.ask("captures");
      write(said, folder ? `Kept in ${folder}` : "Nothing is recorded: `record` in network.yaml, or run --record FOLDER.");
      const now = Date.now() / 1000;
      list.replaceChildren(...found.map((capture) => el("li", {},
        el("a", { href: `/captures/${encodeURIComponent(capture.name)}`, download: capture.name }, capture.name),
        el("span", { class: "quiet" }, `${(capture.octets / 1e6).toFixed(1)} MB, ${ago(now - capture.at)}`))));
    } catch (error) {
      write(said, error.message);
    }
  };
  app.onTab.push((name) => name === "rig" && look());
  app.store.on("scene", () => list.checkVisibility() && look()); // the show was read again: perhaps from another folder
  return el("section", {}, el("h2", {}, "Captures and report"), said, list,
    el("div", { class: "row" },
      el("button", { type: "button", onclick: look }, "Look again"),
      el("a", { class: "button", href: "/report", target: "_blank", rel: "noopener" }, "Report of the solve")));
}
