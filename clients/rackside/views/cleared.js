/* Tells that this phone's store was cleared, and what the server last had of its keeper. */

import { acknowledge, clearedHere } from "../app/cleared.js";
import { h, moment } from "../app/dom.js";
import { state } from "../app/state.js";
import { lastHad } from "../pure/last_had.js";

/** For the page to sign in, and for the entries; null where nothing was cleared. */
export function cleared() {
  const before = clearedHere();
  if (!before) return null;
  return h(
    "div",
    { class: "refused" },
    h(
      "p",
      {},
      `What was stored on this phone has been cleared, by its system or its browser, since ${
        moment(before.at)
      }.`,
    ),
    h("p", {}, lost(before)),
    state.session
      ? [
        h("p", {}, latest() ?? "The server has nothing of yours, as far as it has told yet."),
        h(
          "p",
          { class: "actions" },
          h(
            "button",
            { type: "button", class: "plain", onclick: () => acknowledge() },
            "I have read it",
          ),
        ),
      ]
      : h("p", {}, "Sign in: “Entries” then says what the server last had of yours."),
  );
}

/** @param {Marker} before */
function lost({ waits }) {
  if (!waits) return "Everything made here had been sent by then.";
  const [entries, were] = waits === 1 ? ["entry", "was"] : ["entries", "were"];
  return `${waits} ${entries} that ${were} here had not been sent. What is in no file is lost: note it again.`;
}

/** What came last of this keeper's, from whatever device, as a sentence; null where nothing did. */
export function latest() {
  const found = lastHad(state.latest, state.visits);
  return found &&
    `The server last had of you: ${found.what} of ${
      moment(found.at)
    }, at position ${found.position}.`;
}
