/* What speaks against checking this animal now, by the rules of the server's
   `domain/cautions.py`. The general cautions come with the sheet. */

import { grams as weighed } from "./call.js";
import { CAUTIONS, LIMITS, METHODS } from "./words.js";

const HOUR = 3_600_000;
const DAY = 24 * HOUR;

/** Whether it is to be left alone for now. A blind guest's phone is not told of health.
    @param {Animal} animal */
export const isHeldOff = ({ hold_off, condition }) =>
  hold_off || LIMITS.holds_off.includes(condition.health ?? "");

/** Sentences, the weightiest first. `form` is what has been filled in so far.
    @param {Animal} animal
    @param {CallForm} form
    @param {number} nowMs */
export function cautions(animal, form, nowMs) {
  const { condition } = animal;
  return /** @type {string[]} */ ([
    animal.ended && /** @type {Record<string, string>} */ (CAUTIONS.ended)[animal.ended.why],
    isHeldOff(animal) && CAUTIONS.hold_off,
    form.harm.length > 0 && CAUTIONS.harm,
    meal(condition, form, nowMs),
    (form.shed || condition.shed) === "opaque" && CAUTIONS.opaque,
    size(condition, form, nowMs),
    LIMITS.held_alone.includes(form.held_by) && METHODS[form.method]?.handsOn && CAUTIONS.alone,
  ].filter(Boolean));
}

/** @param {Condition} condition
    @param {CallForm} form
    @param {number} nowMs */
function meal(condition, form, nowMs) {
  if (form.meal) return /** @type {Record<string, string>} */ (CAUTIONS.reported)[form.meal];
  if (!condition.fed_at) return null;
  return nowMs - Date.parse(condition.fed_at) < LIMITS.meal_hours * HOUR ? CAUTIONS.fed : null;
}

/** @param {Condition} condition
    @param {CallForm} form
    @param {number} nowMs */
function size(condition, form, nowMs) {
  const typed = Number(weighed(form.grams));
  const grams = typed || Number(condition.grams);
  if (!grams) return CAUTIONS.no_weight;
  if (grams < LIMITS.small_grams) return CAUTIONS.small.replace("{weight}", `${grams} g`);
  const old = !typed && nowMs - Date.parse(condition.weighed_at ?? "") > LIMITS.weight_days * DAY;
  return old ? CAUTIONS.old_weight : null;
}
