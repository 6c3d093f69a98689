/* Whether what the log shows continues what this phone saw of it before.

   The command's `witness.py` says the same; here the log hands out the proof that it has only grown,
   which holds or does not, whoever gives it. */

import { ED25519, readVerifier } from "../checking/keys.js";
import { openCheckpoint, readBody, readNote } from "../checking/notes.js";
import { contradiction } from "../checking/seen_before.js";
import { equal, Refused } from "../shared/bytes.js";

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
    entries and its key, or what is wrong. Where it is by another key, it follows the notes by which
    the log was given over from one key to the next; those followed come along.
    @param {string} key
    @param {string | null} kept
    @param {string} shown
    @param {AskedOfLog} ask
    @returns {Promise<Continued>} */
export async function held(key, kept, shown, ask) {
  try {
    return await continued({ key, note: kept, followed: [] }, readNote(shown), ask);
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

/** @param {{ key: string, note: string | null, followed: string[] }} before
    @param {Note} shown
    @param {AskedOfLog} ask
    @returns {Promise<Continued>} */
async function continued({ key, note, followed }, shown, ask) {
  const log = await readVerifier(key);
  const claimed = shown.text.split("\n")[0];
  if (claimed !== log.name) throw new Other(`it says it is “${claimed}”`);
  const change = await isBy(log, shown) ? null : await changeFrom(log, followed, ask);
  const head = change?.head ?? (await openCheckpoint(shown, log)).head;
  if (note !== null) {
    const before = await readBody(readNote(note).text);
    const kind = await contradicted(before, head, ask);
    if (kind) return trouble(kind, `${head.size} entries now, ${before.size} before.`);
  }
  if (!change) return { size: Number(head.size), key, followed };
  const next = { key: change.key, note: change.note, followed: [...followed, change.note] };
  return await continued(next, shown, ask);
}

/** @param {VerifierKey} log
    @param {Note} note */
async function isBy(log, note) {
  try {
    await openCheckpoint(note, log);
    return true;
  } catch (fault) {
    if (!(fault instanceof Refused)) throw fault;
    return false;
  }
}

/** The change by which this key gave the log over, of those that the log shows; null: none.
    @param {VerifierKey} log
    @param {string[]} followed
    @param {AskedOfLog} ask */
async function changeFrom(log, followed, ask) {
  for (const note of await ask.keyChanges()) {
    if (followed.includes(note)) continue;
    try {
      return await readChange(note, log);
    } catch (fault) {
      if (!(fault instanceof Refused)) throw fault; // it leads on from another key, or is none
    }
  }
  return null;
}

const WORD = "key-change ";

/** A checkpoint that names the key after its own and is signed under both: the domain's
    `key_changes.py` says the same. Throws Refused.
    @param {string} text
    @param {VerifierKey} old */
async function readChange(text, old) {
  const note = readNote(text);
  const named = note.text.split("\n").slice(3).filter((line) => line.startsWith(WORD));
  if (named.length !== 1) throw new Refused("it does not name one key that follows");
  const next = await readVerifier(named[0].slice(WORD.length));
  const another = next.name === old.name && !equal(next.material, old.material);
  if (next.type !== ED25519 || !another) throw new Refused("it names no other key of this log");
  await openCheckpoint(note, next);
  const { head } = await openCheckpoint(note, old);
  return { key: next.text, head, note: text };
}

/** @param {Head} before
    @param {Head} now
    @param {AskedOfLog} ask
    @returns {Promise<"smaller" | "other_root" | "unproven" | null>} */
async function contradicted(before, now, ask) {
  if (now.size < before.size) return "smaller";
  const kind = now.size === before.size ? "other_root" : "unproven";
  try {
    return await contradiction(before, now, ask) && kind;
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
