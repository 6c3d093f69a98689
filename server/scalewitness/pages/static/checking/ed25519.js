// Ed25519 (RFC 8032) by WebCrypto, with no second signature for the same message.

import { bytesOf, fromHex } from "../shared/bytes.js";

const PRIME = 2n ** 255n - 19n;
const ORDER = 2n ** 252n + 27742317777372353535851937790883648493n;
const D = 37095705934669439343138083508754565189542113879843219016388785533085940283555n;

/** @param {Bytes} bytes */
function littleEndian(bytes) {
  return bytes.reduceRight((sum, one) => (sum << 8n) | BigInt(one), 0n);
}

/** Whether 32 bytes encode a key that binds its holder: y < p, and no point of small order,
 * for which anyone can write signatures (d·y⁴ + 2·y² = 1 there, or y is 0 or ±1).
 * @param {Bytes} bytes */
export function isPublicKey(bytes) {
  if (bytes.length !== 32) return false;
  const y = BigInt.asUintN(255, littleEndian(bytes));
  if (y >= PRIME || y === 0n || y === 1n || y === PRIME - 1n) return false;
  const square = (y * y) % PRIME;
  return (D * square * square + 2n * square - 1n) % PRIME !== 0n;
}

/** Whether the signature over the message is by the key. False for any malformed input;
 * throws only where the browser cannot tell (see `whyNot`).
 * @param {Bytes} publicKey
 * @param {Bytes} message
 * @param {Bytes} signature */
export async function verifies(publicKey, message, signature) {
  if (signature.length !== 64 || !isPublicKey(publicKey)) return false;
  if (littleEndian(signature.subarray(32)) >= ORDER) return false; // RFC 8032, 5.1.7
  let key;
  try {
    key = await crypto.subtle.importKey("raw", publicKey, "Ed25519", false, ["verify"]);
  } catch (fault) {
    if (/** @type {Error} */ (fault).name === "DataError") return false; // not on the curve
    throw fault;
  }
  return crypto.subtle.verify("Ed25519", key, signature, message);
}

/** RFC 8032, 7.1, TEST 2. */
const KNOWN = {
  key: fromHex("3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c"),
  message: bytesOf("r"),
  signature: fromHex(
    "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da" +
      "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
  ),
};

/** Why this browser cannot check signatures, as a sentence; null where it can. */
export async function whyNot() {
  if (!globalThis.crypto?.subtle) {
    return "This browser gives its cryptography only to pages that came over https.";
  }
  try {
    const { key, message, signature } = KNOWN;
    const sound = (await verifies(key, message, signature)) &&
      !(await verifies(key, bytesOf("s"), signature));
    return sound ? null : "This browser checks signatures wrongly: it failed a published example.";
  } catch {
    return "This browser does not know the kind of signature used here (Ed25519).";
  }
}
