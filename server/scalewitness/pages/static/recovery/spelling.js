/* A recovery key as it is printed and typed: 20 random bytes in eight groups of five characters, the
   fifth of which checks the four before it and the group's place.

   The command's `recovery.py` says the same. */

import { bytesOf, joined, Refused, sha256 } from "../shared/bytes.js";

export const SECRET_BYTES = 20;
const ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const GROUPS = 8;
const CARRYING = 4;
const REDUCED_BY = 0b100101; // x^5 + x^2 + 1

/** @param {Uint8Array} secret */
export function spelled(secret) {
  const bits = [...secret].map((one) => one.toString(2).padStart(8, "0")).join("");
  const digits = (bits.match(/.{5}/g) ?? []).map((five) => parseInt(five, 2));
  const groups = Array.from({ length: GROUPS }, (_, at) => {
    const group = digits.slice(at * CARRYING, (at + 1) * CARRYING);
    return [...group, check(at + 1, group)].map((one) => ALPHABET[one]).join("");
  });
  return groups.join(" ");
}

/** The 20 bytes. Throws Refused, whose message is a sentence, where it is mistyped.
    @param {string} typed */
export function read(typed) {
  const plain = typed.replace(/[\s-]/g, "").toUpperCase().replace(/[IL]/g, "1").replace(/O/g, "0");
  const strange = [...plain].filter((one) => !ALPHABET.includes(one)).sort()[0];
  if (strange) throw new Refused(`“${strange}” is in no recovery key.`);
  const wanted = GROUPS * (CARRYING + 1);
  if (plain.length !== wanted) {
    throw new Refused(`A recovery key has ${wanted} characters; these are ${plain.length}.`);
  }
  const bits = (plain.match(/.{5}/g) ?? []).map((group, at) => {
    const digits = [...group].map((one) => ALPHABET.indexOf(one));
    const carrying = digits.slice(0, CARRYING);
    if (digits[CARRYING] !== check(at + 1, carrying)) {
      throw new Refused(`Group ${at + 1} of ${GROUPS}, “${group}”, is mistyped.`);
    }
    return carrying.map((one) => one.toString(2).padStart(5, "0")).join("");
  });
  return Uint8Array.from(bits.join("").match(/.{8}/g) ?? [], (eight) => parseInt(eight, 2));
}

/** The 32 bytes that the Ed25519 key is made of.
    @param {Uint8Array} secret */
export const seed = (secret) => sha256(joined(bytesOf("scalewitness recovery key 1\n"), secret));

/** @param {number} number
    @param {number[]} carrying */
function check(number, carrying) {
  let made = number;
  for (const one of carrying) {
    made = (made ^ one) << 1;
    if (made & 32) made ^= REDUCED_BY;
  }
  return made;
}
