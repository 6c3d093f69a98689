/* Holds what was sent from this phone, and accepted, to the log: that it stands in its place in the
   very bytes that were sent, and still among the entries of its animal when that is out of sight.
   What is checked rests on nothing but these bytes, so a blind guest learns nothing by it. */

import { leafHash, verifyInclusion } from "../checking/merkle.js";
import { readBody, readNote } from "../checking/notes.js";
import { recordIn } from "../checking/stated.js";
import { decode64, equal, Refused as Unfit } from "../shared/bytes.js";
import { entriesOf } from "../pure/leaf.js";
import { all } from "../store/db.js";
import { known } from "../store/log.js";
import { change } from "../store/outbox.js";
import { isContinued, textsIn } from "./log.js";
import { answerOf, statedIn } from "./proofs.js";

const AT_ONCE = 50; // animals asked for together
const AGAIN_AFTER = 3_600_000; // milliseconds, as of animals that are seen

/** False once an alarm was raised. Throws Unreachable or Refused. `fed`: how many entries the feed has
    been read beyond; of a later call the animal may be on its way, and is not gone.
    @param {Session} session
    @param {AbortSignal} signal
    @param {() => unknown} changed
    @param {number} fed */
export async function proveOwn(session, signal, changed, fed) {
  const log = await known();
  if (!log) return true;
  const own = (await all("outbox")).filter(({ by, state, stamp, position }) =>
    by === session.keeper && state === "accepted" && stamp && Number(position) < log.size
  );
  const placed = own.filter(({ place }) => !place?.holds && isDue(place));
  for (const one of placed) await note(one, "place", await isInPlace(one, log, signal));
  const here = new Set((await all("animals")).map(({ id }) => id));
  const gone = own.filter(({ fact, position, chain }) =>
    fact.kind === "call_made" && Number(position) < fed && !here.has(fact.about) && isDue(chain)
  );
  for (let at = 0; at < gone.length; at += AT_ONCE) {
    if (!(await areInChain(session, signal, gone.slice(at, at + AT_ONCE)))) return false;
  }
  if (placed.length || gone.length) await changed();
  return true;
}

/** @param {Check | undefined} check */
const isDue = (check) => !check || Math.abs(Date.now() - check.at) > AGAIN_AFTER;

/** @param {Stored} one
    @param {"place" | "chain"} name
    @param {boolean} holds */
const note = ({ id }, name, holds) =>
  change([id], (records) => records.map((one) => ({ ...one, [name]: { at: Date.now(), holds } })));

/** @param {Stored} one */
const hashesOf = (one) => Promise.all(entriesOf(one).map(leafHash));

/** @param {Stored} one
    @param {KnownLog} log
    @param {AbortSignal} signal */
async function isInPlace(one, { note, size }, signal) {
  const path = `log/inclusion?position=${one.position}&size=${size}`;
  const shown = await textsIn(path, "proof", signal);
  try {
    const proof = (shown ?? [""]).map(decode64);
    const { root } = await readBody(readNote(note).text);
    const given = { index: BigInt(one.position ?? 0), size: BigInt(size), proof, root };
    const found = await Promise.all(
      (await hashesOf(one)).map((leaf) => verifyInclusion({ leaf, ...given })),
    );
    return found.includes(true);
  } catch (fault) {
    if (!(fault instanceof Unfit)) throw fault;
    return false;
  }
}

/** Of calls on animals out of sight: hashes of all entries of these come, one's own among them.
    Where the server shows none, nothing is told: it may not have to.
    @param {Session} session
    @param {AbortSignal} signal
    @param {Stored[]} calls */
async function areInChain(session, signal, calls) {
  const before = await known();
  const ids = [...new Set(calls.map(({ fact }) => fact.about))];
  const answer = await answerOf(session, signal, ids);
  if (before === null || answer === null) return true;
  if (!(await isContinued(session, before, answer.checkpoint, signal, "", answer))) return false;
  for (const one of calls) {
    const proof = answer.animals?.find((/** @type {any} */ { id }) => id === one.fact.about);
    if (proof) await note(one, "chain", await isAmong(one, proof, answer, signal));
  }
  return true;
}

/** @param {Stored} one
    @param {any} proof
    @param {any} answer
    @param {AbortSignal} signal */
async function isAmong(one, proof, answer, signal) {
  try {
    const { stated, key } = await statedIn(answer, signal);
    const record = await recordIn(proof, stated, key);
    if (stated.why !== null || record.why !== null) return false;
    const [links, hashes] = [record.hidden, await hashesOf(one)];
    return record.entries.get(Number(one.position))?.id === one.id ||
      links.some(({ position, hash }) =>
        position === one.position && hashes.some((own) => equal(own, hash))
      );
  } catch (fault) {
    if (!(fault instanceof Unfit)) throw fault;
    return false;
  }
}
