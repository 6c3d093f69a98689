// A log entry: strict, canonical JSON (RFC 8785) with exactly the members an entry has.

import { canonical } from "../shared/canonical.js";
import { Refused, textOf } from "../shared/bytes.js";

const MAX_DEPTH = 32;
const MAX_ENTRY_BYTES = 65_535;
/** @param {unknown} value */
const isText = (value) => typeof value === "string";
/** @param {(value: unknown) => boolean} test
 * @returns {(value: unknown) => boolean} */
const orNull = (test) => (value) => value === null || test(value);
/** @param {unknown} value */
const isObject = (value) => value !== null && typeof value === "object" && !Array.isArray(value);

/** @param {unknown} value */
const isTime = (value) =>
  isText(value) && /^\d{4}(-\d\d){2}T\d\d(:\d\d){2}\.\d{6}Z$/.test(/** @type {string} */ (value));
/** @param {unknown} value */
const areTexts = (value) => Array.isArray(value) && value.every(isText);

/** @type {Record<string, (value: unknown) => boolean>} */
const MEMBERS = {
  v: (value) => value === 1 || value === 2,
  kind: isText,
  id: isText,
  by: orNull(isText),
  device: orNull(isText),
  at: isText,
  about: orNull(isText),
  body: isObject,
  sig: orNull(isText),
};
/** What the record adds to an entry of version 2.
 * @type {Record<string, (value: unknown) => boolean>} */
const STAMP = { received: isTime, flags: areTexts };

/** The entry, accepting only the very bytes the log writes. Throws Refused.
 * @param {Bytes} bytes */
export function readEntry(bytes) {
  if (bytes.length > MAX_ENTRY_BYTES) throw new Refused("too long for an entry");
  const text = textOf(bytes);
  const value = parsed(text);
  // Members named twice, other spellings and other orders all show here.
  if (strictly(value, MAX_DEPTH) !== text) throw new Refused("not in the one form of an entry");
  if (!isObject(value)) throw new Refused("not an object");
  const members = value.v === 2 ? { ...MEMBERS, ...STAMP } : MEMBERS;
  const names = Object.keys(members);
  const same = Object.keys(value).length === names.length &&
    names.every((one) => Object.hasOwn(value, one));
  if (!same) throw new Refused("other members than an entry has");
  const wrong = names.find((one) => !members[one](value[one]));
  if (wrong) throw new Refused(`${wrong} is not of its kind`);
  return value;
}

/** @param {string} text */
function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    throw new Refused("not JSON");
  }
}

/** The RFC 8785 text of a value read from JSON, if an entry may hold it: text in NFC, numbers
 * whole and exact, no deeper than `room`. Throws Refused.
 * @param {Json} value
 * @param {number} room */
export function strictly(value, room) {
  inspect(value, room);
  return canonical(value);
}

/** @param {Json} value
 * @param {number} room */
function inspect(value, room) {
  if (isText(value)) return inspectText(value);
  if (typeof value === "number" && !Number.isSafeInteger(value)) {
    throw new Refused("a number that not every reader reads alike");
  }
  if (value === null || typeof value !== "object") return;
  if (room < 1) throw new Refused("nested too deeply");
  if (!Array.isArray(value)) Object.keys(value).forEach(inspectText);
  Object.values(value).forEach((one) => inspect(one, room - 1));
}

/** @param {string} text */
function inspectText(text) {
  if (/\p{Surrogate}/u.test(text)) throw new Refused("half a character");
  if (text.normalize("NFC") !== text) throw new Refused("text that is not in normal form");
}
