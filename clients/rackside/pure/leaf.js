/* What a device signs of a fact: the statement, in the very form that the log gives it. The
   entry has two members more, the time received and the flags, which only the record knows.

   The server's `domain/translog/leaf.py` and `commitment.py` say the same. */

import { bytesOf, hex, joined, sha256 } from "../shared/bytes.js";
import { canonical } from "../shared/canonical.js";

export { signable } from "../shared/statement.js";

/** The bytes of the entry that an accepted fact became, in each form that the log may have it in:
    unsigned where the server did not know this phone's key.
    @param {Stored} record */
export function entriesOf({ fact, by, device, sig, stamp }) {
  const { id, kind, at, about, body } = fact;
  return [...new Set([sig, null])].map((sig) =>
    bytesOf(canonical({ v: 2, kind, id, by, device, at, about, body, sig, ...stamp }))
  );
}

/** The commitment to a text, as it stands in a body; `salt` has 32 bytes.
    @param {string} text
    @param {Uint8Array<ArrayBuffer>} salt */
export async function commitment(text, salt) {
  return hex(await sha256(joined(salt, bytesOf(text.normalize("NFC")))));
}

/** The fact with `note` as a commitment in its body and the text with its salt beside it;
    unchanged where there is no note.
    @param {Fact} fact
    @param {string} note
    @param {Uint8Array<ArrayBuffer>} salt */
export async function withNote(fact, note, salt) {
  const text = note.trim().normalize("NFC");
  if (!text) return fact;
  const made = await commitment(text, salt);
  return {
    ...fact,
    body: { ...fact.body, note: made },
    texts: { note: { text, salt: hex(salt) } },
  };
}
