/* A visit's sheet: find an animal, see what speaks against checking it, log a call. */

import { finder, h, list, moment } from "../app/dom.js";
import { callsOn, isOpen, leftAlone, now, toCheck, visitOf } from "../app/state.js";
import { blank } from "../pure/call.js";
import { cautions } from "../pure/cautions.js";
import { words } from "../pure/outbox.js";
import { find, read, title } from "../pure/search.js";
import { CAUTIONS } from "../pure/words.js";
import { isPast } from "../pure/visits.js";
import { elsewhere } from "./elsewhere.js";
import { checkedLine, unfit, unfitMark } from "./proved.js";

/** @param {{ id: string }} where */
export function sheet({ id }) {
  const visit = visitOf(id);
  if (!visit?.rows || !isOpen(visit)) return elsewhere(visit);
  const rows = h("ul", { class: "animals" });
  const count = h("p", { class: "fine", role: "status" });
  const left = h("div", {});
  const seen = h("p", { class: "fine" });
  let typed = "";
  /** @type {string | null} */
  let shown = null;
  const show = () => {
    const animals = toCheck(id);
    const found = find(animals, typed);
    const alone = leftAlone(id);
    const calls = found.map((one) => callsOn(one.id, id).map(words));
    seen.textContent = checkedLine(animals);
    const odd = animals.map(unfitMark);
    const look = JSON.stringify([typed, found, calls, alone, odd]);
    if (look === shown) return; // a tap that is under way would miss
    shown = look;
    rows.replaceChildren(...found.map((one) => row(one, id, typed)));
    left.replaceChildren(...aside(alone));
    const text = typed ? `${found.length} of ${animals.length} found` : `${animals.length} animals`;
    if (count.textContent !== text) count.textContent = text;
  };
  show();
  return {
    title: "The sheet",
    update: () => isOpen(visitOf(id)) && Boolean(visitOf(id)?.rows) && (show(), true),
    node: h(
      "section",
      {},
      h("p", { class: "trail" }, h("a", { href: "#/" }, "Visits")),
      h("h1", { tabindex: "-1" }, `${visit.host.name}’s animals`),
      h(
        "p",
        { class: "fine" },
        `${isPast(visit, now()) ? "It closed at" : "Until"} ${moment(visit.closes)}. ${
          visit.blind ? "Blind: nothing here tells of an earlier call." : ""
        }`,
      ),
      general(visit),
      finder((wanted) => {
        typed = wanted;
        show();
      }),
      count,
      left,
      rows,
      seen,
    ),
  };
}

/** Which animals to leave alone for now, and no reason.
    @param {string[]} alone */
function aside(alone) {
  if (!alone.length) return [];
  return [h("div", { class: "warnings" }, h("p", {}, `${CAUTIONS.hold_off} ${alone.join(", ")}`))];
}

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
    @param {string} typed */
function row(animal, visit, typed) {
  const found = read(animal, typed);
  const where = `#/log/${visit}/${animal.id}${found ? `?read=${found.scheme}` : ""}`;
  const calls = callsOn(animal.id, visit);
  const reasons = cautions(animal, { ...blank(), method: "" }, now());
  return h(
    "li",
    { class: "card" },
    h("h2", {}, title(animal)),
    h("p", { class: "fine" }, about(animal)),
    animal.standing && standing(animal.standing),
    unfit(animal),
    reasons.length > 0 && h("div", { class: "warnings" }, list(reasons)),
    calls.map((one) =>
      h("p", { class: "state", "data-state": one.state }, `Your call: ${words(one)}`)
    ),
    !calls.length && animal.own_call &&
      h(
        "p",
        { class: "state", "data-state": "accepted" },
        `Your call: Accepted at position ${animal.own_call.position}`,
      ),
    h(
      "p",
      { class: "actions" },
      h("a", {
        class: calls.length || animal.own_call ? "button plain" : "button",
        href: where,
        "aria-label": `Log a call on ${title(animal)}`,
      }, calls.length || animal.own_call ? "Log another call" : "Log a call"),
    ),
  );
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
