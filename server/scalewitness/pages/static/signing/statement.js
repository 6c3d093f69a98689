// What is signed of a fact: the statement that the log's entry holds (server/LOG.md, Signatures).

import { bytesOf, encode64, hex, joined, sha256 } from "../shared/bytes.js";
import { signable } from "../shared/statement.js";
import { signature } from "./keys.js";

const SALT_BYTES = 32;

/** The signature, and the salts under which the statement commits to the texts.
 * @param {BrowserKey} key
 * @param {Unsigned} fact */
export async function signed(key, fact) {
  /** @type {Record<string, string>} */
  const salts = {};
  const body = { ...fact.body };
  for (const [name, text] of Object.entries(fact.texts)) {
    const salt = crypto.getRandomValues(new Uint8Array(SALT_BYTES));
    salts[name] = hex(salt);
    body[name] = hex(await sha256(joined(salt, bytesOf(text.normalize("NFC")))));
  }
  const { id, kind, at, about } = fact;
  const statement = signable({ id, kind, at, about, body }, key.keeper, key.device);
  return { sig: encode64(await signature(key, statement)), salts };
}
