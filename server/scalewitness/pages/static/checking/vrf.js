// The verifiable random function of the map: RSA-FDH-VRF-SHA256 (RFC 9381, section 4).

import { bytesOf, hex, joined, sha256 } from "../shared/bytes.js";

const EXPONENT = 65537;
const [LEAST_BITS, MOST_BITS, ROOTS] = [2048, 4096, 8];
const SUITE = 1;
const CERTIFIED = "map key ";

/** @param {Bytes} bytes */
const numberIn = (bytes) => BigInt(`0x0${hex(bytes)}`);

/** @param {number} value */
function fourBytes(value) {
  const bytes = new Uint8Array(4);
  new DataView(bytes.buffer).setUint32(0, value);
  return bytes;
}

/** The public half from its bytes: an RSA modulus; the exponent is always 65537.
 * @param {Bytes} data
 * @returns {Promise<VrfKey>} */
export async function readVrfKey(data) {
  const first = data.findIndex((one) => one !== 0);
  const bytes = data.slice(first < 0 ? data.length : first);
  return { modulus: numberIn(bytes), bytes, hash: await sha256(bytes) };
}

/** The 32 bytes that belong to `alpha`; null where the proof does not show it.
 * @param {VrfKey} key
 * @param {Bytes} proof
 * @param {Bytes} alpha */
export async function output(key, proof, alpha) {
  const root = numberIn(proof);
  if (proof.length !== key.bytes.length || root >= key.modulus) return null;
  if (commonFactor(root, key.modulus) !== 1n) return null;
  if (power(root, key.modulus) !== await encoded(key, alpha)) return null;
  return outputOf(proof);
}

/** The 32 bytes that a proof which holds is for.
 * @param {Bytes} proof */
export const outputOf = (proof) => sha256(joined(Uint8Array.of(SUITE, 2), proof));

/** Whether the key is of an allowed length and the roots show that proofs are unique under it.
 * @param {VrfKey} key
 * @param {Bytes[]} roots */
export async function isCertified(key, roots) {
  const bits = key.modulus.toString(2).length;
  if (bits < LEAST_BITS || bits > MOST_BITS || key.modulus % 2n === 0n) return false;
  if (roots.length !== ROOTS) return false;
  for (const [number, root] of roots.entries()) {
    const said = joined(bytesOf(CERTIFIED), Uint8Array.of(number));
    if (await output(key, root, said) === null) return false;
  }
  return true;
}

/** What a proof is the root of: MGF1 (RFC 8017, B.2.1) over the suite, the key and the input.
 * @param {VrfKey} key
 * @param {Bytes} alpha */
async function encoded(key, alpha) {
  const length = key.bytes.length;
  const seed = joined(Uint8Array.of(SUITE, 1), fourBytes(length), key.bytes, alpha);
  const counts = Array.from({ length: Math.ceil((length - 1) / 32) }, (_, count) => count);
  const blocks = await Promise.all(
    counts.map((count) => sha256(joined(seed, fourBytes(count)))),
  );
  return numberIn(joined(...blocks).slice(0, length - 1));
}

/** @param {bigint} base
 * @param {bigint} modulus */
function power(base, modulus) {
  let found = 1n;
  for (const bit of EXPONENT.toString(2)) {
    found = (found * found) % modulus;
    if (bit === "1") found = (found * base) % modulus;
  }
  return found;
}

/** @param {bigint} one
 * @param {bigint} other */
function commonFactor(one, other) {
  while (other) [one, other] = [other, one % other];
  return one;
}
