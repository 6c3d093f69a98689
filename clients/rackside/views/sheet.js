/* A visit's sheet: find an animal, see what speaks against checking it, log a call. */

import { h, list, moment } from "../app/dom.js";
import {
  callsOn,
  isDone,
  isOpen,
  leftAlone,
  nextToDo,
  now,
  toCheck,
  visitOf,
} from "../app/state.js";
import { blank } from "../pure/call.js";
import { cautions } from "../pure/cautions.js";
import { words } from "../pure/outbox.js";
import { read, title } from "../pure/search.js";
import { isPast } from "../pure/visits.js";
import { CAUTIONS } from "../pure/words.js";
import { elsewhere } from "./elsewhere.js";
import { listing } from "./listing.js";
import { checkedLine, UNFIT_ROW, unfitAmong, unfitMark } from "./proved.js";

/** @param {{ id: string }} where */
export function sheet({ id }) {
  const visit = visitOf(id);
  if (!visit?.rows || !isOpen(visit)) return elsewhere(visit);
  const left = h("div", {});
  const odd = unfitAmong();
  const seen = h("p", { class: "fine" });
  let alone = "";
  const { show, ...page } = listing({
    address: `#/visit/${id}`,
    title: "The sheet",
    heading: `${visit.host.name}’s animals`,
    head: [before(visit), left, odd.node],
    foot: [seen],
    read: () => {
      const all = toCheck(id);
      const done = all.filter((one) => isDone(one, id));
      const toDo = all.filter((one) => !isDone(one, id));
      return { all, sets: [["todo", "To do", toDo], ["done", "Done", done]] };
    },
    row: (animal, typed) => row(animal, id, typed),
    rack: (name, animals) => {
      const done = animals.filter((one) => isDone(one, id)).length;
      return { words: `${name || "No rack"}: ${done} of ${animals.length} done`, href: null };
    },
    count: ({ all, sets }, found, typed) =>
      typed ? `${found} of ${all.length} found` : `${sets[1][2].length} of ${all.length} done`,
    around: ({ all }) => {
      seen.textContent = checkedLine(all);
      odd.show(all);
      const names = leftAlone(id).join(", ");
      if (names !== alone) left.replaceChildren(...aside(names));
      alone = names;
    },
    next: (opened) => nextToDo(id, opened)?.id,
  });
  return {
    ...page,
    update: () => isOpen(visitOf(id)) && Boolean(visitOf(id)?.rows) && (show(), true),
  };
}

/** Until when it is, and what holds before any check, folded away.
    @param {KeptVisit} visit */
function before(visit) {
  const until = `${isPast(visit, now()) ? "Closed at" : "Until"} ${moment(visit.closes)}`;
  return h(
    "details",
    { class: "before" },
    h(
      "summary",
      {},
      [until, visit.blind && "blind", "before any check"].filter(Boolean).join(" · "),
    ),
    visit.blind && h("p", {}, "Blind: nothing here tells of an earlier call."),
    list(visit.cautions),
  );
}

/** Which animals to leave alone for now, and no reason.
    @param {string} names */
const aside = (names) =>
  names ? [h("div", { class: "warnings" }, h("p", {}, `${CAUTIONS.hold_off} ${names}`))] : [];

/** What holds before any check, as the server says it.
    @param {KeptVisit} visit */
export function general(visit) {
  if (!visit.cautions.length) return null;
  return h(
    "details",
    { class: "cautions" },
    h("summary", {}, "Before any check"),
    list(visit.cautions),
  );
}

/** @param {Animal} animal
    @param {string} visit
    @param {string} typed
    @returns {RowTexts} */
function row(animal, visit, typed) {
  const found = read(animal, typed);
  return {
    title: title(animal),
    href: `#/log/${visit}/${animal.id}${found ? `?read=${found.scheme}` : ""}`,
    label: `Log a call on ${title(animal)}`,
    place: animal.rack ?? "",
    about: [
      animal.standing && `${animal.standing.label} (computed by the server)`,
      about(animal),
    ].filter(Boolean).join(" · "),
    ...says(animal, visit),
  };
}

/** What matters most of it: what does not fit, what became of one's call, else what speaks against
    checking it now; all of that stands on its page.
    @param {Animal} animal
    @param {string} visit
    @returns {{ says: string, state: string }} */
function says(animal, visit) {
  if (unfitMark(animal)) return { says: UNFIT_ROW, state: "refused" };
  const [call] = callsOn(animal.id, visit);
  if (call) return { says: `Your call: ${words(call)}`, state: call.state };
  if (animal.own_call) {
    return {
      says: `Your call: Accepted at position ${animal.own_call.position}`,
      state: "accepted",
    };
  }
  const [first = "", ...more] = cautions(animal, { ...blank(), method: "" }, now());
  return { says: first + (more.length ? ` (and ${more.length} more)` : ""), state: "" };
}

/** What the record says of its sex; the phone does not compute it again.
    @param {{ label: string }} said */
export function standing({ label }) {
  return h(
    "p",
    {},
    `The record says: ${label} `,
    h("span", { class: "fine" }, "(computed by the server)"),
  );
}

/** @param {Animal} animal */
export function about(animal) {
  const others = animal.identifiers.map((one) => one.code).filter((code) => code !== title(animal));
  const { condition } = animal;
  return [
    animal.species.common,
    ...others,
    condition.grams && `${condition.grams} g`,
    animal.hatched && `hatched ${animal.hatched}`,
  ].filter(Boolean).join(" · ");
}
