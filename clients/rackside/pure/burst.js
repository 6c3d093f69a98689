/* A reader that plugs in as a keyboard types a whole code at once and ends it with Enter: told from
   a hand by how fast the keys follow each other. Values in, values out. */

/** Between two keys of a reader pass at most so many milliseconds; a hand takes longer, but for two
    keys that it strikes together (our judgement: readers send a key every 1 to 50 ms). */
const GAP = 60;
/** A hand does not strike so many keys and Enter as fast as that. */
export const LEAST = 3;

/** What was typed so far without a pause: as the keyboard says, and by the place of the keys where
    that is a US keyboard's, which is what readers play; `shift` while that is held. */
/** @typedef {{ typed: string, placed: string, last: number }} Burst */

/** @type {Burst} */
export const SILENCE = { typed: "", placed: "", last: -Infinity };

/** @param {Burst} burst
    @param {{ key: string, code: string, shiftKey: boolean, timeStamp: number }} event of one sign
    @returns {Burst} */
export function heard(burst, { key, code, shiftKey, timeStamp }) {
  const { typed, placed } = goesOn(burst, timeStamp) ? burst : SILENCE;
  return { typed: typed + key, placed: placed + (byPlace(code, shiftKey) ?? key), last: timeStamp };
}

/** @param {Burst} burst
    @param {number} at milliseconds */
export const goesOn = (burst, at) => at - burst.last <= GAP;

/** The readings of what Enter ended at this moment, the likelier first; empty where a hand typed it.
    @param {Burst} burst
    @param {number} at milliseconds */
export function readings(burst, at) {
  const codes = [burst.typed.trim(), burst.placed.trim()];
  return goesOn(burst, at) && codes[0].length >= LEAST ? [...new Set(codes)] : [];
}

/** @type {Record<string, [string, string]>} */
const PLACES = {
  Minus: ["-", "_"],
  Slash: ["/", "?"],
  Period: [".", ">"],
  Semicolon: [";", ":"],
  Equal: ["=", "+"],
};

/** What a US keyboard has there; null where that does not matter here.
    @param {string} code
    @param {boolean} shift */
function byPlace(code, shift) {
  const place = /^(?:Digit(\d)|Key([A-Z]))$/.exec(code);
  if (place?.[1]) return shift ? null : place[1];
  if (place) return shift ? place[2] : place[2].toLowerCase();
  return PLACES[code]?.[Number(shift)] ?? null;
}
