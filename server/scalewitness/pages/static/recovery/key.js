/* A recovery key in the browser: made, or made again from what was typed. It leaves it on paper
   alone. */

import { encode64, fromHex, hex, joined } from "../shared/bytes.js";
import { signable } from "../shared/statement.js";
import { seed } from "./spelling.js";

const PKCS8 = fromHex("302e020100300506032b657004220420"); // RFC 8410, 7: what stands before the seed

/** @typedef {{ own: CryptoKey, publicKey: string }} RecoveryKey `publicKey` in hexadecimal */

/** The key that 20 bytes stand for. Throws NotSupportedError where the browser knows no Ed25519.
    @param {Uint8Array} secret
    @returns {Promise<RecoveryKey>} */
export async function keyOf(secret) {
  const bytes = joined(PKCS8, await seed(secret));
  const own = await crypto.subtle.importKey("pkcs8", bytes, "Ed25519", true, ["sign"]);
  const { x = "" } = await crypto.subtle.exportKey("jwk", own);
  const units = atob(x.replaceAll("-", "+").replaceAll("_", "/"));
  return { own, publicKey: hex(Uint8Array.from(units, (one) => one.charCodeAt(0))) };
}

/** Its signature over a fact of the keeper's, as of the id that the key goes by.
    @param {RecoveryKey} key
    @param {Fact} fact
    @param {string} device */
export async function sign({ own }, fact, device) {
  const bytes = signable(fact, fact.about, device);
  return encode64(new Uint8Array(await crypto.subtle.sign("Ed25519", own, bytes)));
}
