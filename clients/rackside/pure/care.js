/* Care of one's own animals: what is noted of it, and what was noted last. Values in, values out. */

import { inWords } from "./days.js";
import { grams } from "./call.js";

/** A note as the log has it: `noted` in the body of husbandry_noted.
    @typedef {{ type: "weight", grams: string } | { type: "meal", taken: boolean }
      | { type: "shed", stage: string } | { type: "remark" }} Noted */

/** Notes of one tap each: [key, words of the button, what is noted].
    @type {[string, string, Noted][]} */
export const TAPS = [
  ["taken", "Meal taken", { type: "meal", taken: true }],
  ["refused", "Meal refused", { type: "meal", taken: false }],
  ["opaque", "Opaque", { type: "shed", stage: "opaque" }],
  ["shed", "Shed", { type: "shed", stage: "shed" }],
];

/** @type {[string, string, Noted][]} */
export const MEALS = TAPS.slice(0, 2);
/** @type {[string, string, Noted][]} */
export const SHEDS = [TAPS[2], ["clear", "Clear again", { type: "shed", stage: "clear" }], TAPS[3]];

/** A second tap on the same within so many seconds is a slip of the glove (common practice, no
    source); it is for as long as the first can be undone. */
const AGAIN_AFTER = 10;

/** @param {string} typed
    @returns {Noted | null} */
export function weight(typed) {
  const found = grams(typed);
  return found ? { type: "weight", grams: found } : null;
}

/** Whether a weight is more than half as much again as the last, or less than two thirds of it: a digit
    too many or too few, most often (common practice, no source).
    @param {string} typed
    @param {string} [before] */
export function isFar(typed, before) {
  const ratio = Number(typed) / Number.parseFloat(before ?? "");
  return ratio > 1.5 || ratio < 2 / 3;
}

/** One line that says what a note says.
    @param {any} noted
    @param {string} [text] of a remark */
export function line(noted, text = "") {
  if (noted.type === "weight") return `Weight ${noted.grams} g`;
  if (noted.type === "meal") {
    const prey = noted.grams ? ` (${noted.grams} g)` : "";
    return `Meal ${noted.taken ? "taken" : "refused"}${prey}`;
  }
  if (noted.type === "shed") {
    return { opaque: "In shed: opaque", clear: "In shed: clear again", shed: "Shed its skin" }[
      /** @type {"opaque" | "clear" | "shed"} */ (noted.stage)
    ] ?? `Shed: ${noted.stage}`;
  }
  if (noted.type === "health") return `Health: ${noted.sign.replaceAll("_", " ")}`;
  return text ? `Note: ${text}` : "Note";
}

/** What was noted of an animal: `at` milliseconds, `by` null where it is one's own and on this phone
    alone as yet.
    @typedef {{ id: string, at: number, by: string | null, noted: any, text: string }} Note */

/** All of it that is known here, the latest first: what the record has, and what waits on this phone
    unless it was refused or put aside.
    @param {KeptFact[]} facts
    @param {Stored[]} outbox of this animal
    @returns {Note[]} */
export function notes(facts, outbox) {
  const known = facts.filter(({ entry }) => entry.kind === "husbandry_noted");
  const ids = new Set(known.map(({ id }) => id));
  const waiting = outbox.filter(({ id, fact, state }) =>
    fact.kind === "husbandry_noted" && !ids.has(id) && !["refused", "aside"].includes(state)
  );
  return [
    ...known.map(({ id, by, texts, entry: { at, body } }) =>
      made({ id, by, at, body, text: texts.note ?? "" })
    ),
    ...waiting.map(({ id, fact: { at, body, texts } }) =>
      made({ id, by: null, at, body, text: texts?.note.text ?? "" })
    ),
  ].sort((a, b) => b.at - a.at);
}

/** @param {{ id: string, by: string | null, at: string, body: any, text: string }} given
    @returns {Note} */
const made = ({ id, by, at, body, text }) => ({
  id,
  by,
  at: Date.parse(at),
  noted: body.noted,
  text,
});

/** The last of each sort, as [label, what, when]. Where the last meal was refused, that comes beside
    the last that was taken.
    @param {Note[]} noted the latest first
    @param {number} nowMs
    @returns {[string, string, string][]} */
export function last(noted, nowMs) {
  const of = (/** @type {string} */ type) => noted.find((one) => one.noted.type === type);
  const [weighed, fed, shed] = ["weight", "meal", "shed"].map(of);
  const taken = noted.find((one) => one.noted.type === "meal" && one.noted.taken);
  const when = (/** @type {Note} */ one) => inWords(one.at, nowMs);
  return /** @type {[string, string, string][]} */ ([
    weighed && ["Weight", `${weighed.noted.grams} g`, when(weighed)],
    taken && ["Meal taken", line(taken.noted).replace("Meal taken", "").trim(), when(taken)],
    fed && fed !== taken && ["Meal refused", "", when(fed)],
    shed && ["Shed", line(shed.noted), when(shed)],
  ].filter(Boolean));
}

/** Whether the same was noted of the animal a moment ago: then it was a slip.
    @param {Stored[]} outbox of this animal
    @param {Noted} noted
    @param {number} nowMs */
export const isSlip = (outbox, noted, nowMs) =>
  outbox.some(({ fact, order, state }) =>
    fact.kind === "husbandry_noted" && state !== "aside" &&
    JSON.stringify(fact.body.noted) === JSON.stringify(noted) &&
    Math.abs(nowMs - order) < AGAIN_AFTER * 1000
  );

// --- a rack fed in one go

/** What came of feeding one animal. @typedef {"taken" | "refused" | "left"} Fed */

/** After a tap on its row. @type {Record<Fed, Fed>} */
export const NEXT = { taken: "refused", refused: "left", left: "taken" };

const DAY = 86_400_000;

/** What a row shows before anything is tapped: all are taken to have fed, but those in shed (common
    practice, no source) and those whose meal is noted already within the day.
    @param {Note[]} noted the latest first
    @param {number} nowMs
    @returns {{ fed: Fed, why: string }} */
export function preset(noted, nowMs) {
  const meal = noted.find((one) => one.noted.type === "meal");
  if (meal && nowMs - meal.at < DAY / 2) {
    return { fed: "left", why: `${line(meal.noted)} ${inWords(meal.at, nowMs)}` };
  }
  const shed = noted.find((one) => one.noted.type === "shed");
  if (shed?.noted.stage === "opaque") return { fed: "left", why: "In shed: opaque" };
  return { fed: "taken", why: meal ? `Last: ${line(meal.noted)} ${inWords(meal.at, nowMs)}` : "" };
}

/** In words for the button: how many of each.
    @param {Fed[]} fed */
export function counted(fed) {
  const of = (/** @type {Fed} */ one) => fed.filter((each) => each === one).length;
  const parts = /** @type {[number, string][]} */ ([
    [of("taken"), "taken"],
    [of("refused"), "refused"],
    [of("left"), "left out"],
  ]);
  return parts.filter(([count]) => count).map(([count, word]) => `${count} ${word}`).join(", ");
}
