// Whether the log goes on from what was seen of it before. What is remembered, and how the log is
// asked, come from outside: a browser's store for a page, the phone's own for the app.

import { decode64, equal, Refused } from "../shared/bytes.js";
import { verifyConsistency } from "./merkle.js";
import { readBody, readNote } from "./notes.js";

/** Two signed trees that one honest log cannot both have; `before` is the note seen then. */
export class Forked extends Refused {
  /** @param {string} why
   * @param {string} before */
  constructor(why, before) {
    super(why);
    this.before = before;
  }
}

/** See that the tree continues the one remembered, and remember the larger. Gives the size that
 * was remembered, null the first time. Throws Forked; whatever `ask` throws where it cannot be
 * told.
 * @param {Pick<StatedMap, "head" | "note">} stated
 * @param {LogMemory} memory
 * @param {LogAsked} ask
 * @returns {Promise<bigint | null>} */
export async function continued({ head, note }, memory, ask) {
  const kept = memory.note(head.origin);
  const before = kept === null ? null : await headOf(kept);
  if (kept === null || before === null || before.origin !== head.origin) {
    memory.keepNote(head.origin, note);
    return null;
  }
  const [old, now] = before.size <= head.size ? [before, head] : [head, before];
  const why = await contradiction(old, now, ask);
  if (why) throw new Forked(before.size > head.size ? FEWER : why, kept);
  if (head.size > before.size) memory.keepNote(head.origin, note);
  return before.size;
}

const FEWER = "the log shows fewer entries than it had signed for when last looked at here";
const OTHER =
  "the log does not show that it begins with what it had signed for when last looked at here";

/** Why the smaller tree is not the beginning of the larger, as a clause; null where it is.
 * @param {Head} old
 * @param {Head} now
 * @param {Pick<LogAsked, "consistency">} ask */
export async function contradiction(old, now, ask) {
  if (old.size === now.size) {
    return equal(old.root, now.root) ? null : "the log signed two different states of one size";
  }
  const proof = await ask.consistency(old.size, now.size);
  const sound = proof !== null && await verifyConsistency({
    size1: old.size,
    root1: old.root,
    size2: now.size,
    root2: now.root,
    proof: proof.map(decode64),
  });
  return sound ? null : OTHER;
}

/** @param {string} note */
async function headOf(note) {
  try {
    return await readBody(readNote(note).text);
  } catch (fault) {
    if (!(fault instanceof Refused)) throw fault;
    return null; // what was kept is damaged, and worth no more than nothing
  }
}
