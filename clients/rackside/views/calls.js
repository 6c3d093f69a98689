/* Every entry made on this phone and what became of it. */

import { h, moment, twice } from "../app/dom.js";
import { changed, state } from "../app/state.js";
import { sync } from "../app/sync.js";
import { leaderOf, sendCorrected, withIt } from "../app/logging.js";
import { announce } from "../app/shell.js";
import { discard, edit, shelve, takeUp } from "../app/undo.js";
import { afterwards } from "../pure/afterwards.js";
import { isEdit } from "../pure/edits.js";
import { aside, filed, isMissed, isUnsent, needsYou, words } from "../pure/outbox.js";
import { groupOf, isShelved, isUntried, mainOf, withDependents } from "../pure/undo.js";
import { change } from "../store/outbox.js";
import { cleared, latest } from "./cleared.js";
import { isCorrectable, sending, timeNote } from "./clock.js";

const MOST = 100; // of a group are shown at first: a year's are thousands

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
      cleared(),
      !shown.length && h("p", {}, "None are on this phone. ", !state.cleared && latest()),
      shown.map(({ name, rows }) =>
        h(
          "section",
          {},
          h("h2", {}, name),
          allCorrected(rows),
          listed(rows),
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

/** By a clock that is off, a whole hatch day is refused: it is put right by one press.
    @param {Stored[]} rows */
function allCorrected(rows) {
  const leaders = rows.filter(isLeader);
  const send = async () => {
    for (const one of leaders.toSorted((a, b) => a.order - b.order)) await sendCorrected(one);
  };
  return leaders.length > 1 &&
    h("p", { class: "actions" }, sending("Send all with the corrected time", send));
}

/** Whether it can be corrected, and others go with it rather than it with one of them.
    @param {Stored} one */
const isLeader = (one) => isCorrectable(one) && leaderOf(one).id === one.id;

/** The latest, and the others once they are asked for.
    @param {Stored[]} rows */
function listed(rows) {
  const shown = h("ul", { class: "calls" }, rows.slice(0, MOST).map(row));
  if (rows.length <= MOST) return shown;
  const more = h("button", {
    type: "button",
    class: "plain",
    onclick: () => {
      shown.append(...rows.slice(MOST).map(row));
      more.remove();
    },
  }, `Show ${rows.length - MOST} earlier`);
  return [shown, h("p", { class: "actions" }, more)];
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
    h(
      "p",
      { class: "fine" },
      `${moment(one.fact.at)}${one.sig || isEdit(one) ? "" : " · unsigned"}`,
    ),
    h("p", { class: "state", "data-state": one.state }, words(one)),
    one.flags?.includes("clock_ahead") &&
      h("p", { class: "fine" }, "This phone’s clock is ahead; the log keeps both times."),
    isMissed(one) && h("p", { class: "refused" }, MISSED),
    one.place?.holds && !isMissed(one) &&
      h("p", { class: "fine" }, "Checked by this phone: it is in the log as it was sent."),
    timeNote(one, isLeader(one) ? sendCorrected : null),
    followed(one),
    pressable(actions(one)),
  );
}

/** @param {(HTMLElement | string | false | null | undefined)[]} inside */
const pressable = (inside) => inside.some(Boolean) && h("p", { class: "actions" }, ...inside);

/** What can still be done about one that left.
    @param {Stored} one */
function followed(one) {
  const found = afterwards(one);
  const page = found?.page && h("a", { href: found.page }, "withdraw it");
  return found && h("p", { class: "fine" }, found.told, page, page && ".");
}

/** @param {Stored} one */
function actions(one) {
  if (needsYou(one)) return [again(one), press("Put it aside", () => rest(one))];
  const group = groupOf(state.outbox, one);
  if (mainOf(group).id !== one.id) return []; // it goes with that
  if (group.every(isUntried)) {
    return [
      isChangeable(group) && press("Change it", async () => goOn(await edit(one))),
      press("Put it aside", async () => goOn(await shelve(one))),
    ];
  }
  return group.every(isShelved)
    ? [
      press("Send it after all", () => takeUp(one)),
      twice("Delete it", "Delete it for good", () => discard(one), one.id),
    ]
    : [];
}

/** Whether it leads somewhere, and nothing else here rests on it.
    @param {Stored[]} group */
const isChangeable = (group) =>
  mainOf(group).shown.edit && withDependents(state.outbox, group).length === group.length;

/** @param {{ told: string, hash?: string }} done */
const goOn = ({ told, hash = location.hash }) => announce(told, hash);

/** @param {string} label
    @param {() => unknown} onclick */
const press = (label, onclick) => h("button", { type: "button", class: "plain", onclick }, label);

/** @param {Stored} one */
function again(one) {
  if (isEdit(one)) {
    return h("a", { class: "button", href: `${one.shown.edit}?from=${one.id}` }, "Decide it again");
  }
  if (one.fact.kind === "animal_registered" && one.shown.edit) {
    return h("a", { class: "button", href: one.shown.edit }, "Put it right on the list");
  }
  if (!one.form) return null;
  const where = `#/log/${one.shown.visit}/${one.fact.about}?from=${one.id}`;
  return h("a", { class: "button", href: where }, "Edit and send anew");
}

/** @param {Stored} one */
async function rest(one) {
  const ids = withIt(one).map(({ id }) => id);
  await change(
    ids,
    (records) =>
      records.filter((row) => needsYou(row) || row.state === "saved").map((row) => aside(row)),
  );
  await changed();
}
