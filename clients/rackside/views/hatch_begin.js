/* A hatch day begins: the day, how many, and by which codes; nothing of it needs a keyboard. */

import { keeping } from "../app/drafts.js";
import { choice, h, line, list, notKept } from "../app/dom.js";
import { codesTaken, keeper, pairingsTold, seenWhole } from "../app/hatching.js";
import { keypad } from "../app/keypad.js";
import { now, OWN, state } from "../app/state.js";
import { newId } from "../net/keys.js";
import { begin, hatchedWord, MOST, nextNumber, numbered, patterns } from "../pure/hatch.js";
import { title } from "../pure/search.js";
import { dayOf } from "../pure/season.js";
import { begunHatch, hatchKey } from "../store/drafts.js";
import { put } from "../store/sittings.js";

const DAY = 86_400_000;
const OTHER = "other";
const SPECIES_NOT_LISTED = "serpentes"; // of young of two species

/** From a pairing, or from dam and sire.
    @param {{ pairing?: string, dam?: string, sire?: string }} given */
export async function hatchBegin(given) {
  const own = await seenWhole();
  const of = parentsOf(given, own, await pairingsTold());
  if (!of) return elsewhere();
  const taken = await codesTaken();
  const days = offeredDays(of.noted);
  const draft = hatchKey(of);
  const asked = filled(await begunHatch(draft), days);
  const keep = keeping(draft, OWN.id, asked);
  const codes = h("div", {});
  const wrong = h("div", { class: "refused", role: "alert", tabindex: "-1", hidden: true });
  const other = line({
    name: "other-day",
    label: "The day",
    type: "date",
    max: dayOf(now()),
    value: asked.other,
    oninput: ({ target }) => {
      asked.other = target.value;
      change();
    },
  });
  const ownPattern = line({
    name: "own-pattern",
    label: "Your pattern, # for the number",
    help: "Such as LG-26-##, which makes LG-26-01, LG-26-02 and so on.",
    autocomplete: "off",
    autocapitalize: "characters",
    value: asked.own,
    oninput: ({ target }) => {
      asked.own = target.value;
      keep.soon();
    },
  });
  const hatched = () => asked.day === OTHER ? asked.other : asked.day;
  const pattern = () => asked.pattern === OTHER ? asked.own.trim() : asked.pattern;
  const made = () => {
    const first = nextNumber(pattern(), taken);
    return Array.from({ length: Number(asked.number) }, (_, at) => numbered(pattern(), first + at));
  };
  /** @type {string[]} */
  let found = [];
  const show = () => {
    other.hidden = asked.day !== OTHER;
    const offered = patterns(own, { parents: of.parents, hatched: hatched() || dayOf(now()) });
    if (offered.join() !== found.join() || !codes.hasChildNodes()) {
      found = offered;
      if (![...offered, OTHER].includes(asked.pattern)) asked.pattern = offered[0] ?? OTHER;
      codes.replaceChildren(choice({
        name: "pattern",
        legend: "Codes of their tubs",
        options: [
          .../** @type {[string, string][]} */ (offered.map((one) => [
            one,
            `from ${numbered(one, nextNumber(one, taken))}`,
          ])),
          [OTHER, "Another"],
        ],
        value: asked.pattern,
        onpick: (key) => {
          asked.pattern = key;
          change();
        },
      }));
    }
    ownPattern.hidden = asked.pattern !== OTHER;
  };
  const change = () => {
    show();
    keep.soon();
  };
  show();
  let begun = false;
  const start = async () => {
    const lacking = [
      !/^\d{4}-\d\d-\d\d$/.test(hatched()) && "Say on which day.",
      hatched() > dayOf(now()) && "That day is still to come.",
      !Number(asked.number) && "Say how many.",
      !pattern().includes("#") && "Put # where the number goes, such as LG-26-##.",
      pattern().includes("#") && made().some((one) => one.length > 40) &&
      "A code has at most 40 characters.",
    ].filter((one) => one !== false);
    wrong.hidden = !lacking.length;
    wrong.replaceChildren(list(lacking));
    if (lacking.length) return wrong.focus();
    if (begun) return; // the second of a double tap is a slip
    begun = true;
    const { collection, species, mode, dam, sire } = of;
    const shared = { collection, species, mode, dam, sire, hatched: hatched(), pattern: pattern() };
    const sitting = begin({ by: keeper(), begun: now(), ...shared }, made(), newId);
    keep.stop();
    try {
      await put(sitting, draft);
      location.hash = `#/hatch/${sitting.id}/weigh`;
    } catch (fault) {
      begun = false;
      wrong.replaceChildren(notKept(fault));
      wrong.hidden = false;
    }
  };
  return {
    title: "Hatch day",
    editing: true,
    filling: true,
    leave: keep.now,
    node: h(
      "section",
      { class: "hatch" },
      h("p", { class: "trail" }, h("a", { href: "#/hatch" }, "Hatch day")),
      h("h1", { tabindex: "-1" }, of.parents.flatMap(({ title }) => title ?? []).join(" with ")),
      keypad({
        name: "number",
        label: "How many",
        most: MOST,
        close: true,
        value: asked.number,
        oninput: (text) => {
          asked.number = text;
          keep.soon();
        },
      }),
      choice({
        name: "day",
        legend: `Day they ${of.mode === "live" ? "were born" : hatchedWord(of.mode)}`,
        options: days,
        value: asked.day,
        onpick: (key) => {
          asked.day = key;
          change();
        },
      }),
      other,
      codes,
      ownPattern,
      wrong,
      h("div", { class: "bar" }, h("button", { type: "button", onclick: start }, "Begin")),
    ),
  };
}

/** What was begun, or an empty form; a day that was near then may be another day by now.
    @param {HatchForm | undefined} begun
    @param {[string, string][]} days
    @returns {HatchForm} */
function filled(begun, days) {
  if (!begun) return { day: days[0][0], other: "", number: "", pattern: "", own: "" };
  const isOffered = days.some(([day]) => day === begun.day);
  return isOffered ? begun : { ...begun, day: OTHER, other: begun.day };
}

/** @typedef {{
      dam: string | null, sire: string | null, parents: { id: string | null, title?: string }[], collection: string,
      species: string, mode: KeptPairing["mode"], noted: string | undefined,
    }} Parents */

/** Whose young they are; null where that is not here, or not told.
    @param {{ pairing?: string, dam?: string, sire?: string }} given
    @param {Animal[]} own
    @param {KeptPairing[]} pairings
    @returns {Parents | null} */
function parentsOf({ pairing, dam, sire }, own, pairings) {
  const planned = pairings.find(({ id }) => id === pairing);
  const ids = planned ? [planned.dam?.id, planned.sire?.id] : [dam, sire];
  const animals = ids.map((id) => own.find((one) => one.id === id));
  const halves = planned
    ? [planned.dam, planned.sire]
    : animals.map((one) => one && { id: one.id, title: title(one), species: one.species.key });
  const kinds = [
    ...new Set(halves.flatMap((one, at) => one?.species ?? animals[at]?.species.key ?? [])),
  ];
  const collection = animals.find(Boolean)?.collection?.id ?? state.own[0]?.id;
  if (!kinds.length || !collection) return null;
  return {
    dam: halves[0]?.id ?? null,
    sire: halves[1]?.id ?? null,
    parents: halves.map((one) => ({ id: one?.id ?? null, title: one?.title })),
    collection,
    species: kinds.length === 1 ? kinds[0] : SPECIES_NOT_LISTED,
    mode: planned?.mode ?? "unknown",
    noted: planned?.noted
      .filter(({ what }) => what === "hatched" || what === "born")
      .map(({ on }) => on).sort().at(-1),
  };
}

/** Today first, unless the season has noted the day.
    @param {string | undefined} noted
    @returns {[string, string][]} */
function offeredDays(noted) {
  const today = dayOf(now());
  /** @type {[string, string][]} */
  const days = [[today, "Today"], [dayOf(now() - DAY), "Yesterday"], [OTHER, "Another day"]];
  const known = !noted || days.some(([day]) => day === noted);
  return known ? days : [[noted, noted], ...days];
}

function elsewhere() {
  return {
    title: "Hatch day",
    node: h(
      "section",
      {},
      h("h1", { tabindex: "-1" }, "Not here"),
      h("p", {}, "Choose a planned pairing, or at least one parent that you see."),
      h("p", {}, h("a", { href: "#/hatch" }, "Hatch day")),
    ),
  };
}
