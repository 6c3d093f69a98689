/* Whether what the log shows continues what this phone saw of it before.

   The command's `witness.py` says the same; here the log hands out the proof that it has only grown,
   which holds or does not, whoever gives it. */

import { readVerifier } from "../checking/keys.js";
import { openCheckpoint, readBody, readNote } from "../checking/notes.js";
import { contradiction } from "../checking/seen_before.js";
import { Refused } from "../shared/bytes.js";

/** @type {Record<Trouble["kind"], string>} */
const WORDS = {
  smaller:
    "The log shows a smaller tree than it vouched for before: entries are gone, or it shows you an old state.",
  other_root:
    "The log vouched for two different trees of the same size: one of them is not what others are shown, or entries were changed.",
  unproven:
    "The log does not prove that what it shows now continues what it vouched for before: entries were changed, removed or slipped in.",
  bad_signature: "What the log shows is not signed by the key that this phone trusts.",
  other_log: "Another log is shown here than the one that this phone knows.",
};

/** Holds a checkpoint to the key and to the one kept before, both as texts: the number of its
    entries, or what is wrong. `consistency(old, now)` gives the log's proof, in base64; null: it
    refuses one.
    @param {string} key
    @param {string | null} kept
    @param {string} shown
    @param {LogAsked["consistency"]} consistency
    @returns {Promise<{ size: number, trouble?: undefined } | { trouble: Trouble }>} */
export async function held(key, kept, shown, consistency) {
  try {
    const head = await vouched(key, shown);
    if (kept !== null) {
      const before = await readBody(readNote(kept).text);
      const kind = await contradicted(before, head, consistency);
      if (kind) return trouble(kind, `${head.size} entries now, ${before.size} before.`);
    }
    return { size: Number(head.size) };
  } catch (fault) {
    if (!(fault instanceof Refused)) throw fault;
    const kind = fault instanceof Other ? "other_log" : "bad_signature";
    return trouble(kind, `${fault.message.charAt(0).toUpperCase()}${fault.message.slice(1)}.`);
  }
}

class Other extends Refused {}

/** @param {Trouble["kind"]} kind
    @param {string} detail */
const trouble = (kind, detail) => ({ trouble: { kind, why: `${WORDS[kind]} ${detail}` } });

/** @param {string} key
    @param {string} shown */
async function vouched(key, shown) {
  const log = await readVerifier(key);
  const note = readNote(shown);
  const claimed = note.text.split("\n")[0];
  if (claimed !== log.name) throw new Other(`it says it is “${claimed}”`);
  return (await openCheckpoint(note, log)).head;
}

/** @param {Head} before
    @param {Head} now
    @param {LogAsked["consistency"]} consistency
    @returns {Promise<"smaller" | "other_root" | "unproven" | null>} */
async function contradicted(before, now, consistency) {
  if (now.size < before.size) return "smaller";
  const kind = now.size === before.size ? "other_root" : "unproven";
  try {
    return await contradiction(before, now, { consistency }) && kind;
  } catch (fault) {
    if (!(fault instanceof Refused)) throw fault;
    return kind; // what is no list of hashes proves nothing
  }
}

/** An alarm as the command's `scalewitness evidence` takes it.
    @param {Alarm} alarm
    @param {string} address */
export const evidence = ({ id, kind, at, why, key, kept, shown, answer }, address) => ({
  id,
  kind,
  at: Math.floor(at / 1000),
  address,
  origin: key.split("+")[0],
  why,
  kept,
  shown,
  key,
  answer,
});
