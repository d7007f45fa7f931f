// What was told in the last hours, newest first, with a filter.

import { el, write } from "./dom.js";

const KINDS = { all: "All", notice: "Notices", refused: "Refused", solve: "Solve and sightings", other: "Other" };
const SOLVE = ["solve", "sighting", "forgotten", "confirmed", "accepted", "back"];
const MOST_SHOWN = 200;

export function mountNews(host, app) {
  const list = el("ol", { class: "newslist", "aria-label": "News", tabindex: "0" });
  const find = el("input", { type: "search", "aria-label": "Find in news", placeholder: "find a word" });
  const kind = el("select", { "aria-label": "Kind of news" }, ...Object.entries(KINDS).map(([value, word]) => el("option", { value }, word)));
  const empty = el("p", { class: "quiet" });
  host.append(el("h2", {}, "News"), el("div", { class: "row" }, find, kind), empty, list);
  let shown = -1;
  const draw = () => {
    if (app.tab !== "rig") return;
    const word = find.value.trim().toLowerCase();
    const rows = app.store.news
      .filter((news) => news.what !== "pages" && fits(news, kind.value))
      .map((news) => [news, text(news)])
      .filter(([, words]) => words.toLowerCase().includes(word))
      .slice(-MOST_SHOWN)
      .reverse();
    list.replaceChildren(...rows.map(([news, words]) => el("li", { "data-what": news.what },
      el("time", {}, clock(news.at)), el("span", { class: "what" }, news.what), el("span", {}, words))));
    write(empty, rows.length ? "" : "Nothing so far.");
    shown = app.store.news.length;
  };
  find.addEventListener("input", draw);
  kind.addEventListener("change", draw);
  app.store.on("news", () => draw());
  app.onTab.push(() => shown !== app.store.news.length && draw());
}

function fits(news, kind) {
  if (kind === "all") return true;
  if (kind === "solve") return SOLVE.includes(news.what);
  if (kind === "other") return !["notice", "refused", ...SOLVE].includes(news.what);
  return news.what === kind;
}

function text(news) {
  if (news.what === "sighting") return `${news.fixture} at ${news.mark}: pan ${news.pan.toFixed(3)}, tilt ${news.tilt.toFixed(3)}`;
  if (news.what === "folder") return news.problems.join("; ");
  if (news.what === "refused" && news.sender === "desk") return `The desk's ${news.address}: ${news.text}`;
  return [news.fixture, news.input, news.mark, news.word, news.part, news.text].filter(Boolean).join(": ");
}

function clock(at) {
  return new Date(at * 1000).toLocaleTimeString([], { hour12: false });
}
