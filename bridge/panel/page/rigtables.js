// Tables of the Rig screen: universes, desk, tracking, who steers, refusals, counters, captures and the report.

import { el, mark, show, write } from "./dom.js";
import { whoHas } from "./headdesk.js";
import { ago } from "./rig.js";
import { trackingRow } from "./tracking.js";
import { milliseconds } from "./statussigns.js";

const SHAPES = { sent: "dot", waiting: "ring", refused: "triangle", overruled: "triangle" };
const WORDS = { sent: "sent", waiting: "waiting", refused: "refused: another source is there", overruled: "overruled by a higher priority" };

const BAD_MS = 5; // a frame that late can be seen

export function mountTables(host, app) {
  const universes = table("Universes", ["Universe", "State", "Other source", "Its priority"]);
  const desk = deskTable(app);
  const tracking = table("Tracking inputs", ["Input", "Heard", "Points", "Frame", "Refused"]);
  tracking.box.className = "wide";
  const targets = table("Targets", ["Target", "Who steers", "Last heard", "Place"]);
  const counts = table("Refused messages", ["Reason", "How many"]);
  const counters = table("Counters", ["What", "Now"]);
  host.append(universes.box, desk.box, targets.box, tracking.box, counts.box, counters.box, captures(app));
  return (frame) => {
    universes.write(frame.universes.map((row) => [
      String(row.universe), [SHAPES[row.word], WORDS[row.word] ?? row.word], row.other || "none", row.other ? String(row.priority) : ""]));
    desk.write(frame);
    show(tracking.box, frame.inputs.length);
    tracking.write(frame.inputs.map(trackingRow));
    targets.write(frame.targets.map((row) => [
      row.name, whose(app.store, row), row.age < 0 ? "never" : `${Math.round(row.age)} ms ago`,
      row.age < 0 ? ["ring", "no place yet"] : [row.inside ? "dot" : "triangle", row.inside ? "inside" : "outside"]]));
    counts.write(Object.entries(frame.counts).sort((a, b) => b[1] - a[1]).map(([reason, n]) => [reason, String(n)]));
    counters.write(counterRows(frame, app));
  };
}

// The desk's universes as they are heard, and who has which head.
function deskTable(app) {
  const universes = table("Desk", ["Universe", "Ours", "Source", "Priority", "Heard"]);
  const who = el("p", { class: "who-has" });
  const more = el("p", { class: "quiet" });
  universes.box.append(who, more);
  show(universes.box, false);
  const tell = (frame) => {
    const { scene } = app.store;
    show(universes.box, scene.desk);
    if (!scene.desk) return;
    const under = Object.entries(scene.desk.universes);
    universes.write(frame.desk.map((row) => [
      String(row.universe), under.filter(([, desk]) => desk === row.universe).map(([ours]) => ours).join(", ") || "none",
      row.source || "none", row.source ? String(row.priority) : "", deskHeard(row)]));
    write(who, whoHas(scene, frame));
    const { guide } = scene.desk;
    write(more, `What the desk has is not guarded by areas.${guide ? ` Its pan and tilt of ${guide.fixture} steer ${guide.target}.` : ""}`);
  };
  return { box: universes.box, write: tell };
}

function whose(store, { name, hand }) {
  const input = store.tracker(name);
  return input ? `tracked by ${input}` : hand || "nobody";
}

function deskHeard({ alive, age }) {
  if (age < 0) return ["ring", "never"];
  return alive ? ["dot", milliseconds(age)] : ["triangle", `lost, ${ago(age / 1000)}`];
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
