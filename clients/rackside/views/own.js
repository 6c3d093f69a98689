/* The animals in collections that one keeps or is a partner in, by place. */

import { h } from "../app/dom.js";
import { asSeen, byPlace, callsOn, OWN, ownKept, seasonTold, state } from "../app/state.js";
import { isUnsent, words } from "../pure/outbox.js";
import { title } from "../pure/search.js";
import { pairingsWith, withWhom } from "../pure/season.js";
import { isBlind } from "../pure/sight.js";
import { all } from "../store/db.js";
import { listing } from "./listing.js";
import { checkedLine, isProved, UNFIT_ROW, unfitAmong, unfitMark } from "./proved.js";
import { about } from "./sheet.js";

export async function own() {
  let [kept, proved] = await Promise.all([living(), checks()]);
  /** @type {KeptPairing[]} */
  let season = [];
  let weighed = weighedHere();
  let asOf = state.refreshed;
  const seen = h("p", { class: "fine" });
  const odd = unfitAmong();
  const { show, ...page } = listing({
    address: "#/own",
    title: "Animals",
    heading: "Animals",
    head: [
      h("p", { class: "actions" }, h("a", { class: "button plain", href: "#/hatch" }, "Hatch day")),
      odd.node,
    ],
    foot: [seen],
    read: () => {
      const all = byPlace(asSeen(kept));
      weighed = weighedHere();
      season = seasonTold(); // once for all rows
      return { all, sets: [["all", "All", all]] };
    },
    row: (animal) => ({ ...row(animal, weighed.get(animal.id)), ...says(animal, proved) }),
    rack: (name, { length }) =>
      name
        ? { words: `${name}: feed ${length}`, href: `#/rack/${encodeURIComponent(name)}` }
        : { words: `No rack: ${length}`, href: null },
    more: (animal) =>
      isBlind(animal) ? [] : pairingsWith(season, animal.id).map((one) => [
        `#/season/${one.id}`,
        `Season ${one.season} ${withWhom(one, animal.id)}`,
      ]),
    count: ({ all }, found, typed) => {
      if (!all.length && !state.refreshed) return "not fetched yet";
      return typed ? `${found} of ${all.length} found` : `${all.length} animals`;
    },
    around: ({ all }) => {
      seen.textContent = checkedLine(all, proved);
      odd.show(all);
    },
  });
  const renew = async () => {
    asOf = state.refreshed; // thousands are read anew once a turn at most
    [kept, proved] = await Promise.all([living(), checks()]);
    show();
  };
  return {
    ...page,
    update: () => {
      if (state.refreshed === asOf) show();
      else renew();
      return true;
    },
  };
}

const living = async () => (await ownKept()).filter(({ ended }) => !ended);
const checks = async () => new Map((await all("proved")).map((one) => [one.id, one]));

/** The last weight of each animal that is noted here and not sent yet. */
function weighedHere() {
  /** @type {Map<string, string>} */
  const found = new Map();
  for (const one of state.outbox) { // the newest first
    const { about, body } = one.fact;
    if (isUnsent(one) && body.noted?.type === "weight" && !found.has(about)) {
      found.set(about, body.noted.grams);
    }
  }
  return found;
}

/** @param {Animal} animal
    @param {string | undefined} grams noted here
    @returns {Pick<RowTexts, "title" | "href" | "label" | "place" | "about">} */
function row(animal, grams) {
  const condition = grams ? { ...animal.condition, grams } : animal.condition;
  return {
    title: title(animal),
    href: `#/own/${animal.id}`,
    label: title(animal),
    place: animal.rack ?? "",
    about: [animal.name, about({ ...animal, condition })].filter(Boolean).join(" · "),
  };
}

/** What does not fit, else a call that is on its way, else what the record says of its sex and as of
    where in the log.
    @param {Animal} animal
    @param {Map<string, Proved>} proved
    @returns {Pick<RowTexts, "says" | "state" | "proof">} */
function says(animal, proved) {
  if (unfitMark(animal)) return { says: UNFIT_ROW, state: "refused" };
  const [call] = callsOn(animal.id, OWN.id);
  if (call && call.state !== "accepted") {
    return { says: `Your call: ${words(call)}`, state: call.state };
  }
  if (isBlind(animal) || !animal.standing) return { says: "", state: "" };
  const { label, position } = animal.standing;
  const checked = isProved(animal, proved) ? ", checked here" : "";
  return { says: label, state: "", proof: `position ${position.toLocaleString("en")}${checked}` };
}
