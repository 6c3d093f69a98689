// Verifier keys of signed notes (C2SP signed-note): name+ID+base64.

import { bytesOf, decode64, equal, hex, joined, Refused, sha256 } from "../shared/bytes.js";
import { isPublicKey, verifies } from "./ed25519.js";

export const ED25519 = 0x01;
export const COSIGNATURE = 0x04;
export const COSIGNATURE_ML_DSA = 0x06;

/** @type {Record<number, number>} */
const PUBLIC_BYTES = { [ED25519]: 32, [COSIGNATURE]: 32, [COSIGNATURE_ML_DSA]: 1312 };
const STAMP_BYTES = 8;
// deno-lint-ignore no-control-regex -- they are what a name may not hold
const NAME = /^[^\p{White_Space}\u0000-\u001f+]+$/u;

/** @param {string} text */
export const isKeyName = (text) => NAME.test(text);
/** Picks a key among those trusted; a signature line bears the same.
 * @param {{ name: string, id: Bytes }} key */
export const label = ({ name, id }) => `${name}+${hex(id)}`;

/** A key {name, id, type, material}. Throws Refused for anything else.
 * @param {string} text */
export async function readVerifier(text) {
  const [name, idHex, ...rest] = text.split("+");
  if (!rest.length || !isKeyName(name)) throw new Refused("a key reads name+ID+base64");
  const data = decode64(rest.join("+")); // base64 has plus signs of its own
  const [type, material] = [data[0], data.subarray(1)];
  if (PUBLIC_BYTES[type] === undefined) throw new Refused("the key is of an unknown kind");
  if (material.length !== PUBLIC_BYTES[type]) throw new Refused("the key has another length");
  if (type !== COSIGNATURE_ML_DSA && !isPublicKey(material)) {
    throw new Refused("the key binds nobody");
  }
  const id = (await sha256(joined(bytesOf(`${name}\n`), data))).subarray(0, 4);
  if (hex(id) !== idHex) throw new Refused("the key’s ID is not that of the key");
  return { name, id, type, material, text };
}

/** The keys in a text, one on a line; lines of # are remarks. Throws Refused, naming the line.
 * @param {string} text */
export async function readKeys(text) {
  const found = new Map();
  for (const [at, line] of text.split("\n").entries()) {
    const trimmed = line.trim();
    if (!trimmed || trimmed.startsWith("#")) continue;
    try {
      found.set(trimmed, await readVerifier(trimmed));
    } catch (fault) {
      if (!(fault instanceof Refused)) throw fault;
      throw new Refused(`line ${at + 1} is no key: ${fault.message}`);
    }
  }
  return [...found.values()];
}

/** The signature over a note's text: {key, at} with the time of a cosignature (BigInt seconds)
 * or null; null altogether where it does not hold.
 * @param {VerifierKey} key
 * @param {string} text
 * @param {Bytes} signature */
export async function check(key, text, signature) {
  if (key.type === ED25519) {
    return (await verifies(key.material, bytesOf(text), signature)) ? { key, at: null } : null;
  }
  if (signature.length <= STAMP_BYTES) return null;
  const at = BigInt(`0x${hex(signature.subarray(0, STAMP_BYTES))}`);
  const message = bytesOf(`cosignature/v1\ntime ${at}\n${text}`);
  const holds = await verifies(key.material, message, signature.subarray(STAMP_BYTES));
  return holds ? { key, at } : null;
}

/** @param {VerifierKey} key
 * @param {SignatureLine} line */
export const isOf = (key, line) => key.name === line.name && equal(key.id, line.id);
