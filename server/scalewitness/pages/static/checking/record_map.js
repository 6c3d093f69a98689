// The map of subjects (server/MAP.md): that the entries shown about something are all there are.

import { equal, fromHex, hex, joined, Refused, sha256 } from "../shared/bytes.js";
import { HASH_BYTES } from "./merkle.js";
import { output } from "./vrf.js";

const PATH_BITS = 256;
const START = new Uint8Array(HASH_BYTES);

/** @param {number} value */
function eightBytes(value) {
  if (!Number.isSafeInteger(value) || value < 0) throw new Refused("the proof is damaged");
  const bytes = new Uint8Array(8);
  new DataView(bytes.buffer).setBigUint64(0, BigInt(value));
  return bytes;
}

/** The hash chained over the links, in their order.
 * @param {Link[]} links */
export async function chainOver(links) {
  let chain = START;
  for (const { position, hash } of links) {
    chain = await sha256(joined(Uint8Array.of(3), chain, eightBytes(position), hash));
  }
  return chain;
}

/** What the map holds for a subject.
 * @param {Bytes} nonce
 * @param {number} count
 * @param {Bytes} chain */
export const committed = (nonce, count, chain) =>
  sha256(joined(Uint8Array.of(4), nonce, eightBytes(count), chain));

/** @param {Bytes} path
 * @param {Bytes} value */
export const pathLeaf = (path, value) => sha256(joined(Uint8Array.of(1), path, value));

/** The root that a leaf and the hashes beside its path make up, from the top down. Throws
 * Refused for parts of another length.
 * @param {Bytes} path
 * @param {Bytes} leaf
 * @param {Bytes[]} siblings */
export async function rootFrom(path, leaf, siblings) {
  const sound = [path, leaf, ...siblings].every((one) => one.length === HASH_BYTES);
  if (!sound || siblings.length > PATH_BITS) throw new Refused("the proof is damaged");
  let running = leaf;
  for (let depth = siblings.length - 1; depth >= 0; depth--) {
    const right = path[depth >> 3] >> (7 - (depth & 7)) & 1;
    const pair = right ? [siblings[depth], running] : [running, siblings[depth]];
    running = await sha256(joined(Uint8Array.of(2), ...pair));
  }
  return running;
}

/** @param {string} text */
export function uuidBytes(text) {
  if (!/^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/.test(text)) throw new Refused("no id");
  return fromHex(text.replaceAll("-", ""));
}

/** See that the entries shown and those hidden are all there are about the subject in the map
 * with this root. Throws Refused with a clause.
 * @param {string} subject
 * @param {Link[]} shown
 * @param {MapOpening} opening
 * @param {Bytes} root
 * @param {VrfKey} key */
export async function requireWhole(subject, shown, opening, root, key) {
  const links = [...shown, ...opening.hidden].sort(inOrder);
  if (new Set(links.map(({ position }) => position)).size !== links.length) {
    throw new Refused("one place in the log is named twice");
  }
  if (links.length !== opening.count) {
    throw new Refused(`${opening.count} entries are stated and ${links.length} are there`);
  }
  const path = await output(key, opening.pathProof, uuidBytes(subject));
  if (path === null) throw new Refused("the place in the map that is shown is not this one’s");
  if (opening.nonce.length !== HASH_BYTES) {
    throw new Refused("what opens its place in the map is damaged");
  }
  const value = await committed(opening.nonce, opening.count, await chainOver(links));
  const found = await rootFrom(path, await pathLeaf(path, value), opening.siblings);
  if (!equal(found, root)) throw new Refused("the entries are not those that the log states");
}

/** @param {Link} one
 * @param {Link} other */
function inOrder(one, other) {
  if (one.position !== other.position) return one.position - other.position;
  return hex(one.hash) < hex(other.hash) ? -1 : 1;
}
