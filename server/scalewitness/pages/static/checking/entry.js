// A log entry: strict, canonical JSON (RFC 8785) with exactly the members an entry has.

import { Refused, textOf } from "./bytes.js";

const MAX_DEPTH = 32;
const MAX_ENTRY_BYTES = 65_535;
const isText = (value) => typeof value === "string";
const orNull = (test) => (value) => value === null || test(value);
const isObject = (value) => value !== null && typeof value === "object" && !Array.isArray(value);

const MEMBERS = {
  v: (value) => value === 1,
  kind: isText,
  id: isText,
  by: orNull(isText),
  device: orNull(isText),
  at: isText,
  about: orNull(isText),
  body: isObject,
  sig: orNull(isText),
};

/** The entry, accepting only the very bytes the log writes. Throws Refused. */
export function readEntry(bytes) {
  if (bytes.length > MAX_ENTRY_BYTES) throw new Refused("too long for an entry");
  const text = textOf(bytes);
  const value = parsed(text);
  // Members named twice, other spellings and other orders all show here.
  if (canonical(value, MAX_DEPTH) !== text) throw new Refused("not in the one form of an entry");
  if (!isObject(value)) throw new Refused("not an object");
  const names = Object.keys(MEMBERS);
  const same = Object.keys(value).length === names.length &&
    names.every((one) => Object.hasOwn(value, one));
  if (!same) throw new Refused("other members than an entry has");
  const wrong = names.find((one) => !MEMBERS[one](value[one]));
  if (wrong) throw new Refused(`${wrong} is not of its kind`);
  return value;
}

function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    throw new Refused("not JSON");
  }
}

/** The RFC 8785 text of a value read from JSON; names sort by UTF-16 units, as JavaScript's
 * own sort does. Text must be NFC without lone surrogates, numbers whole and exact. */
export function canonical(value, room) {
  if (value === null || typeof value === "boolean") return String(value);
  if (isText(value)) return quoted(value);
  if (typeof value === "number") return whole(value);
  if (room < 1) throw new Refused("nested too deeply");
  if (Array.isArray(value)) return `[${value.map((one) => canonical(one, room - 1)).join()}]`;
  const members = Object.keys(value).sort();
  return `{${members.map((one) => `${quoted(one)}:${canonical(value[one], room - 1)}`).join()}}`;
}

function quoted(text) {
  if (/\p{Surrogate}/u.test(text)) throw new Refused("half a character");
  if (text.normalize("NFC") !== text) throw new Refused("text that is not in normal form");
  return JSON.stringify(text);
}

function whole(number) {
  if (!Number.isSafeInteger(number)) {
    throw new Refused("a number that not every reader reads alike");
  }
  return JSON.stringify(number);
}
