/* What the facts about an animal of one's own tell, for its page. Values in, values out. */

import { CONCLUSIONS, METHODS, REPORTED, STOPPED, SURENESS } from "./words.js";

/** The kinds of fact that are kept for it. */
export const TOLD = [
  "call_made",
  "call_withdrawn",
  "husbandry_noted",
  "photo_attached",
  "report_answered",
  "record_quoted",
];

/** @param {[string, string][]} choices
    @param {string} word */
const named = (choices, word) => choices.find(([one]) => one === word)?.[1] ?? word;

/** A call as it is listed: `who`, `found` and `seen` in words, `at` milliseconds.
    @typedef {{ id: string, at: number, who: string, found: string, method: string, seen: string,
      text: string, withdrawn: boolean }} CallTold */

/** The calls, the latest first.
    @param {KeptFact[]} facts
    @param {string} keeper whose phone it is
    @returns {CallTold[]} */
export function calls(facts, keeper) {
  const gone = new Set(of(facts, "call_withdrawn").map(({ entry }) => entry.body.call));
  const answers = new Map(
    of(facts, "report_answered").map(({ entry: { body } }) => [body.call, body.answer]),
  );
  return of(facts, "call_made").map(({ id, by, texts, entry: { at, body, by: sender } }) => ({
    id,
    at: Date.parse(at),
    who: who(body.reported, sender === keeper ? "you" : by ?? "", answers.get(id)),
    found: `${named(CONCLUSIONS, body.conclusion)}, ${
      named(SURENESS, body.sureness).toLowerCase()
    }`,
    method: METHODS[body.observed.method]?.title ?? body.observed.method,
    seen: depths(body.observed) || answered(body.observed),
    text: texts.note ?? "",
    withdrawn: gone.has(id),
  })).sort((a, b) => b.at - a.at);
}

/** @param {{ role: string } | undefined} reported
    @param {string} sender
    @param {string | undefined} answer */
function who(reported, sender, answer = "not confirmed yet") {
  if (!reported) return sender === "you" ? "You" : sender;
  return `${named(REPORTED, reported.role)} call, reported by ${sender}: ${answer}`;
}

/** Of a probing: each pass, in scales, with what ended it where that was no resistance.
    @param {any} observed */
const depths = ({ passes = [] }) =>
  passes.map((/** @type {any} */ { side, depth, stopped }) =>
    `${side} ${depth}${
      stopped === "resistance" ? "" : ` (${named(STOPPED, stopped).toLowerCase()})`
    }`
  ).join(", ");

/** Of another method: what was answered to its questions that offer answers.
    @param {any} observed */
const answered = (observed) =>
  (METHODS[observed.method]?.asks ?? []).flatMap(([name, , answers]) =>
    Array.isArray(answers) && observed[name] !== undefined ? [named(answers, observed[name])] : []
  ).join(", ");

/** @param {KeptFact[]} facts
    @param {string} kind */
const of = (facts, kind) => facts.filter(({ entry }) => entry.kind === kind);

/** What other logs say of it, as sentences; nothing of that counts here.
    @param {KeptFact[]} facts */
export const quoted = (facts) =>
  of(facts, "record_quoted").map(({ entry: { body } }) =>
    `What the log ${body.origin} says as of its position ${
      (body.size - 1).toLocaleString("en")
    } was quoted. It is not counted here.`
  );

/** The photos, the latest first.
    @param {KeptFact[]} facts */
export const photos = (facts) => of(facts, "photo_attached").reverse();

/** Points of a drawing of the weights in a box of 100 by 40, the earliest at its left; the heaviest
    at its top, nothing at its bottom, so that a loss is not drawn larger than it is. Null of fewer
    than two.
    @param {{ at: number, noted: any }[]} noted */
export function drawn(noted) {
  const weights = noted.filter((one) => one.noted.type === "weight").sort((a, b) => a.at - b.at);
  if (weights.length < 2) return null;
  const most = Math.max(...weights.map((one) => Number(one.noted.grams)));
  const from = weights[0].at, span = Math.max(1, weights[weights.length - 1].at - from);
  return weights.map(({ at, noted }) => [
    round(2 + 96 * (at - from) / span),
    round(38 - 36 * Number(noted.grams) / most),
  ]);
}

/** @param {number} value */
const round = (value) => Math.round(value * 10) / 10;
