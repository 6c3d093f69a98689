/* Every call made on this phone and what became of it. */

import { h, moment } from "../app/dom.js";
import { changed, state } from "../app/state.js";
import { sync } from "../app/sync.js";
import { sendCorrected, withIt } from "../app/logging.js";
import { aside, filed, isMissed, isUnsent, needsYou, words } from "../pure/outbox.js";
import { change } from "../store/outbox.js";
import { timeNote } from "./clock.js";

/** @type {[string, (one: Stored) => boolean][]} */
const GROUPS = [
  ["Needs you", needsYou],
  ["Not sent yet", isUnsent],
  ["Sent", (one) => one.state === "accepted" || one.state === "held"],
  ["Put aside", (one) => one.state === "aside"],
];

export function calls() {
  const shown = GROUPS
    .map(([name, belongs]) => ({ name, rows: state.outbox.filter(belongs) }))
    .filter(({ rows }) => rows.length);
  return {
    title: "Entries",
    node: h(
      "section",
      {},
      h("h1", { tabindex: "-1" }, "Entries made on this phone"),
      !shown.length && h("p", {}, "None yet."),
      shown.map(({ name, rows }) =>
        h(
          "section",
          {},
          h("h2", {}, name),
          h("ul", { class: "calls" }, rows.map(row)),
          rows.some((one) => isUnsent(one) || filed(one)) &&
            h(
              "p",
              { class: "actions" },
              h("button", {
                type: "button",
                class: "plain",
                onclick: () => sync({ press: true }),
              }, "Send now"),
            ),
        )
      ),
    ),
  };
}

const MISSED =
  "Alarm: the log does not hold this as it was sent from this phone. Tell whoever runs this service, and others who rely on the log.";

/** @param {Stored} one */
function row(one) {
  return h(
    "li",
    { class: "card", "data-id": one.id },
    h("h3", {}, one.shown.title),
    h("p", {}, one.shown.line),
    h("p", { class: "fine" }, `${moment(one.fact.at)}${one.sig ? "" : " · unsigned"}`),
    h("p", { class: "state", "data-state": one.state }, words(one)),
    one.flags?.includes("clock_ahead") &&
      h("p", { class: "fine" }, "This phone’s clock is ahead; the log keeps both times."),
    isMissed(one) && h("p", { class: "refused" }, MISSED),
    one.place?.holds && !isMissed(one) &&
      h("p", { class: "fine" }, "Checked by this phone: it is in the log as it was sent."),
    timeNote(one, sendCorrected),
    needsYou(one) &&
      h(
        "p",
        { class: "actions" },
        again(one),
        h("button", { type: "button", class: "plain", onclick: () => rest(one) }, "Put it aside"),
      ),
  );
}

/** @param {Stored} one */
function again(one) {
  if (!one.form) return null;
  const where = `#/log/${one.shown.visit}/${one.fact.about}?from=${one.id}`;
  return h("a", { class: "button", href: where }, "Edit and send anew");
}

/** @param {Stored} one */
async function rest(one) {
  const ids = one.form ? withIt(one).map(({ id }) => id) : [one.id];
  await change(
    ids,
    (records) =>
      records.filter((row) => needsYou(row) || row.state === "saved").map((row) => aside(row)),
  );
  await changed();
}
