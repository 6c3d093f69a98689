/* In place of a sheet that is not there: what is known of its visit, and no more. */

import { h, moment } from "../app/dom.js";
import { isOpen, OWN, state } from "../app/state.js";

/** `visit` undefined: this phone knows of none.
    @param {KeptVisit | undefined} visit */
export function elsewhere(visit) {
  if (visit === OWN) {
    return page(
      "Not here any more",
      "This phone has no such animal of yours. Your own calls are still under Entries.",
    );
  }
  if (visit && isOpen(visit) && !visit.rows) return NOT_YET();
  if (isOpen(visit)) {
    return page(
      "Not here any more",
      "The animal is not on this visit’s sheet any more. Your own calls are still under Entries.",
    );
  }
  if (visit?.state === "accepted") return coming(visit);
  if (visit) {
    return page(
      "Not here any more",
      `${WORDS[visit.state] ?? "It is not open."} Your own calls are still under Entries.`,
    );
  }
  return state.refreshed
    ? page(
      "Not here any more",
      "The server does not list this visit. Your own calls are still under Entries.",
    )
    : NOT_YET();
}

const NOT_YET = () => page("Not fetched yet", "What there is to check comes with the next signal.");

/** @type {Record<string, string>} */
const WORDS = {
  invited: "You have not answered this invitation yet.",
  declined: "You declined this visit.",
  over: "The visit is over.",
  cancelled: "The visit was called off.",
};

/** @param {KeptVisit} visit */
function coming(visit) {
  const ready = visit.rows?.length;
  return page(
    `${visit.host.name}’s animals`,
    `This visit opens at ${moment(visit.opens)}, for ${visit.count} ${
      visit.count === 1 ? "animal" : "animals"
    }.`,
    ready
      ? "Its sheet is on this phone and opens by itself then, also without a signal."
      : "Its sheet is not on this phone yet: it comes with the next signal.",
  );
}

/** @param {string} heading
    @param {string[]} sentences */
const page = (heading, ...sentences) => ({
  title: heading,
  node: h(
    "section",
    {},
    h("p", { class: "trail" }, h("a", { href: "#/" }, "Visits")),
    h("h1", { tabindex: "-1" }, heading),
    sentences.map((one) => h("p", {}, one)),
  ),
});
