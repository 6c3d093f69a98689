/* Identifiers made here: UUID version 7 (RFC 9562, 5.7). */

import { hex } from "../shared/bytes.js";

/** The id of a time in milliseconds since 1970 and ten random bytes.
    @param {number} unixMs
    @param {Uint8Array} entropy */
export function uuid7(unixMs, entropy) {
  if (!Number.isInteger(unixMs) || unixMs < 0 || unixMs >= 2 ** 48) {
    throw new RangeError("the time does not fit 48 bits");
  }
  if (entropy.length !== 10) throw new RangeError("ten random bytes are needed");
  const octets = new Uint8Array(16);
  for (let at = 0, rest = unixMs; at < 6; at += 1, rest = Math.floor(rest / 256)) {
    octets[5 - at] = rest % 256;
  }
  octets.set(entropy, 6);
  octets[6] = 0x70 | (octets[6] & 0x0f);
  octets[8] = 0x80 | (octets[8] & 0x3f);
  const digits = hex(octets);
  return [0, 8, 12, 16, 20].map((from, n) => digits.slice(from, [8, 12, 16, 20, 32][n])).join("-");
}
