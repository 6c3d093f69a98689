// Following a log from key to key (server/LOG.md): by checkpoints that name the key that follows,
// signed under both. Loaded only where another key vouches than before.

import { equal, Refused } from "../shared/bytes.js";
import { ED25519, readVerifier } from "./keys.js";
import { openCheckpoint, readBody, readNote } from "./notes.js";
import { contradiction } from "./seen_before.js";

const WORD = "key-change ";

/** The change by which the key `old` gives the log over: {key, head, note}. Throws Refused.
 * @param {string} text
 * @param {VerifierKey} old
 * @returns {Promise<KeyChange>} */
export async function readChange(text, old) {
  const note = readNote(text);
  const named = note.text.split("\n").slice(3).filter((line) => line.startsWith(WORD));
  if (named.length !== 1) throw new Refused("it does not name one key that follows");
  const key = await readVerifier(named[0].slice(WORD.length));
  if (key.type !== ED25519 || key.name !== old.name || equal(key.material, old.material)) {
    throw new Refused("the key that it names is not another one of the same log");
  }
  await openCheckpoint(note, old);
  return { key, head: (await openCheckpoint(note, key)).head, note: text };
}

/** The changes among these notes that lead on from a key, each from the one before.
 * @param {VerifierKey} key
 * @param {string[]} notes */
export async function changesFrom(key, notes) {
  const found = [];
  for (let at = key, left = notes.length; left > 0; left--) {
    const change = await firstOf(notes, (one) => readChange(one, at));
    if (change === null) break;
    found.push(change);
    at = change.key;
  }
  return found;
}

/** See that the key that vouches now is the one that vouched for the note kept, or that the log
 * was given over to it. A note that is damaged speaks for nobody. Throws Refused.
 * @param {string} kept
 * @param {StatedMap} stated
 * @param {VerifierKey[]} logs
 * @param {LogAsked} ask */
export async function followed(kept, { by, head, note }, logs, ask) {
  if (!(await isNoteOf(kept, head.origin))) return;
  const gave = await firstOf(logs, (one) => readChange(kept, one));
  const before = gave?.key ??
    await firstOf(logs, async (one) => (await openCheckpoint(readNote(kept), one)) && one);
  if (before === null) throw new Refused(OTHER);
  if (equal(before.material, by.material)) return;
  const changes = await changesFrom(before, [...await ask.keyChanges?.() ?? [], note]);
  const until = changes.findIndex(({ key }) => equal(key.material, by.material));
  if (until < 0) throw new Refused(OTHER);
  for (const change of changes.slice(0, until + 1)) {
    const [old, now] = change.head.size <= head.size ? [change.head, head] : [head, change.head];
    if (await contradiction(old, now, ask)) {
      throw new Refused("the log does not continue the tree with which its key changed");
    }
  }
}

const OTHER =
  "the log is signed with another key than when last looked at here, and the key before does not vouch for that one";

/** @param {string} text
 * @param {string} origin */
async function isNoteOf(text, origin) {
  return await firstOf([text], async (one) => (await readBody(readNote(one).text)).origin) ===
    origin;
}

/** What comes of the first that is not refused; null where all are.
 * @template T, U
 * @param {T[]} all
 * @param {(one: T) => Promise<U>} work */
async function firstOf(all, work) {
  for (const one of all) {
    try {
      return await work(one);
    } catch (fault) {
      if (!(fault instanceof Refused)) throw fault;
    }
  }
  return null;
}
