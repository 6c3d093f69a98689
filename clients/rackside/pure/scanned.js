/* What was scanned: whose code it is, and what it says of how an animal was identified. */

import { plain, tagOf } from "./search.js";

const UUID = /\/animals\/([0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})\/?(?:[?#]|$)/i;
const LONGEST = 60; // characters of a code, as the log takes

/** Whether the code is one of the animal's, or the address that is on its printed label.
    @param {Animal} animal
    @param {string} code */
export const bears = (animal, code) =>
  UUID.exec(code)?.[1].toLowerCase() === animal.id ||
  animal.identifiers.some((one) => plain(one.code) === plain(code));

/** Whether it has the form of a transponder's number: 15 digits (ISO 11784).
    @param {string} code */
export const isTransponder = (code) => /^\d{15}$/.test(plain(code));

/** How a call says that its animal was identified: [by what, the code]. A transponder is read by a
    reader alone; what a camera sees is a label on a tub, whatever is printed there. Null where the
    code says nothing of the tub.
    @param {Animal} animal
    @param {string} code
    @param {ScannedBy} by
    @returns {[string, string] | null} */
export function identity(animal, code, by) {
  if (by === "reader" && isTransponder(code)) return ["transponder", plain(code)];
  const read = animal.identifiers.find((one) =>
    one.scheme === "tag" && plain(one.code) === plain(code)
  );
  const tag = read?.code ?? tagOf(animal);
  if (tag) return ["tag", tag];
  return UUID.test(code) || code.length > LONGEST ? null : ["tag", code];
}
