/* What a key of the phone's own keypad makes of a number that is being typed. */

export const BACK = "back";
export const HALF = "half";
export const POINT = "point";

/** The text after this key: digits with a point, "" where nothing is typed. A key that would make
    no number of this step, or one over `most`, changes nothing: a glove hits twice.
    @param {string} text
    @param {string} key a digit, or one of those above
    @param {{ step: number, most: number }} of */
export function pressed(text, key, of) {
  const next = after(text, key, of.step);
  return fits(next, of) ? next : text;
}

/** Whether this is such a number, or the beginning of one.
    @param {string} text
    @param {{ step: number, most: number }} of */
export function fits(text, { step, most }) {
  return FORMS[step].test(text) && Number(text) <= most;
}

/** @type {Record<number, RegExp>} */
const FORMS = { 1: /^\d*$/, 0.5: /^(\d+(\.5?)?)?$/, 0.1: /^(\d+(\.\d?)?)?$/ };

/** @param {string} text
    @param {string} key
    @param {number} step */
function after(text, key, step) {
  const whole = text.replace(/\.5$/, "");
  if (key === HALF) return whole === text ? `${text || "0"}.5` : whole;
  if (key === POINT) return text.includes(".") ? text : `${text || "0"}.`;
  if (key === BACK) return step === 0.5 && whole !== text ? whole : text.slice(0, -1);
  return text === "0" ? key : text + key;
}
