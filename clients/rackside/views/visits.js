/* The visits one is invited to. */

import { h, moment } from "../app/dom.js";
import { animalsOf, isDone, now, state } from "../app/state.js";
import { isPast, stateAt } from "../pure/visits.js";

const RANK = ["open", "accepted", "invited"];

export function visits() {
  const place = (/** @type {KeptVisit} */ one) => RANK.indexOf(stateAt(one, now()));
  const rows = state.visits.filter((one) => place(one) >= 0).sort((a, b) => place(a) - place(b));
  const asOf = h("p", { class: "fine" });
  const look = () =>
    JSON.stringify([
      Boolean(state.refreshed),
      state.visits,
      rows.map(label),
      state.animals.size,
      state.outbox.length,
      state.own,
    ]);
  const shown = look();
  const update = () => {
    asOf.textContent = state.refreshed ? `As of ${moment(state.refreshed)}.` : "";
    return look() === shown; // else the rows are made anew
  };
  update();
  return {
    title: "Visits",
    update,
    node: h(
      "section",
      {},
      h("h1", { tabindex: "-1" }, "Visits"),
      rows.length ? h("ul", { class: "rows" }, rows.map(row)) : h(
        "p",
        {},
        state.refreshed
          ? "No visit is open to you, and none is coming."
          : "Not fetched yet: this needs a signal once.",
      ),
      asOf,
    ),
  };
}

/** @param {KeptVisit} visit */
function row(visit) {
  const words = [
    h("span", { class: "row-name" }, `You check ${visit.host.name}’s animals`),
    h(
      "span",
      { class: "fine" },
      `${moment(visit.opens)} to ${moment(visit.closes)}${visit.blind ? ", blind" : ""}`,
    ),
  ];
  const where = stateAt(visit, now()) === "invited" ? `/visits/${visit.id}` : `#/visit/${visit.id}`;
  return h(
    "li",
    {},
    h("a", { href: where }, words),
    h("span", { class: "row-label" }, label(visit)),
  );
}

/** @param {KeptVisit} visit */
function label(visit) {
  const found = stateAt(visit, now());
  if (found === "invited") return "invited, not yet answered";
  const missing = visit.rows ? "" : "not fetched yet";
  if (found === "accepted") {
    return [`opens at ${moment(visit.opens)}`, missing].filter(Boolean).join(", ");
  }
  if (missing) return missing;
  return `${progress(visit)}${isPast(visit, now()) ? ", closed" : ""}`;
}

/** @param {KeptVisit} visit */
function progress(visit) {
  const animals = animalsOf(visit.id);
  const done = animals.filter((one) => isDone(one, visit.id)).length;
  return `${done} of ${animals.length} logged`;
}
