// Holding all that is shown to the log: these entries, all of them and no others. Without a page:
// what is shown, the answer and the ways to ask come from outside.

import {
  bytesOf,
  decode64,
  encode64,
  fromHex,
  hex,
  joined,
  Refused,
  sha256,
} from "../shared/bytes.js";
import { amiss } from "./agreeing.js";
import { openCheckpoint, readNote } from "./notes.js";
import { continued, Forked } from "./seen_before.js";
import { certifiedKey, mapIn, recordIn } from "./stated.js";
import { readVrfKey } from "./vrf.js";

/** What came of it. Whatever `ask` throws comes through: then nothing can be told.
 * @param {{ answer: any, logs: VerifierKey[], shown: Shown[], seen: number, memory: LogMemory,
 *   ask: LogAsked }} given
 * @returns {Promise<Whole>} */
export async function look({ answer, logs, shown, seen, memory, ask }) {
  try {
    const stated = await mapIn(answer, logs);
    await sameKey(stated, logs, memory, ask);
    const before = await continued(stated, memory, ask);
    const key = await keyOf(stated, memory, ask);
    const records = await recordsIn(answer, stated, key);
    const wrong = [
      ...notWhole([...records.values()], shown),
      ...amiss(await Promise.all(shown.map(committed)), records, seen),
    ];
    if (stated.why !== null) wrong.unshift(ofTheLog(stated.why));
    const position = Number(stated.head.size) - 1;
    if (wrong.length) return { holds: false, amiss: wrong, before: null };
    const hidden = [...records.values()].reduce((sum, one) => sum + one.hidden.length, 0);
    const { received } = stated;
    return {
      holds: true,
      position,
      hidden,
      before: before === null ? null : Number(before),
      received,
    };
  } catch (fault) {
    if (!(fault instanceof Refused)) throw fault;
    const before = fault instanceof Forked ? fault.before : null;
    return { holds: false, amiss: [ofTheLog(fault.message)], before };
  }
}

/** @param {string} why
 * @returns {Amiss} */
const ofTheLog = (why) => ({
  about: null,
  position: null,
  text: `${why.charAt(0).toUpperCase()}${why.slice(1)}.`,
});

/** See that the key that vouched for what was seen before still does, or gave the log over.
 * @param {StatedMap} stated
 * @param {VerifierKey[]} logs
 * @param {LogMemory} memory
 * @param {LogAsked} ask */
async function sameKey(stated, logs, memory, ask) {
  const kept = memory.note(stated.head.origin);
  if (kept === null || kept === stated.note || await isPlainlyBy(kept, stated.by)) return;
  const { followed } = await import("./key_changes.js");
  await followed(kept, stated, logs, ask);
}

/** @param {string} note
 * @param {VerifierKey} key */
async function isPlainlyBy(note, key) {
  try {
    await openCheckpoint(readNote(note), key);
    return !note.includes("\nkey-change ");
  } catch (fault) {
    if (!(fault instanceof Refused)) throw fault;
    return false;
  }
}

/** The map's key, which never changes while the log keeps its name.
 * @param {StatedMap} stated
 * @param {Pick<LogMemory, "mapKey" | "keepMapKey">} memory
 * @param {Pick<LogAsked, "mapKey">} ask */
export async function keyOf(stated, memory, ask) {
  const kept = memory.mapKey(stated.head.origin);
  if (kept !== null) {
    const key = await readVrfKey(decode64(kept));
    if (hex(key.hash) === stated.key) return key;
    throw new Refused("the key that the map is made with is another than before");
  }
  const key = await certifiedKey(await ask.mapKey(), stated.key);
  memory.keepMapKey(stated.head.origin, encode64(key.bytes));
  return key;
}

/** @param {any} answer
 * @param {StatedMap} stated
 * @param {VrfKey} key */
async function recordsIn(answer, stated, key) {
  const proofs = [answer.animals ?? [], answer.deal ?? []].flat();
  const found = await Promise.all(proofs.map((one) => recordIn(one, stated, key)));
  return new Map(found.map((one) => [one.subject, one]));
}

/** Why records are not whole.
 * @param {RecordFound[]} records
 * @param {Shown[]} shown
 * @returns {Amiss[]} */
export function notWhole(records, shown) {
  return records.filter(({ why }) => why !== null).map(({ subject, why }) => {
    const label = shown.find(({ about, kind }) => about === subject && kind === "record")?.label;
    const kept = / entries are stated and /.test(`${why}`)
      ? "an entry was kept back or added: "
      : "";
    return { about: subject, position: null, text: `${label ?? "The record"}: ${kept}${why}.` };
  });
}

/** With what its free texts come to under their salts.
 * @param {Shown} one
 * @returns {Promise<Shown>} */
async function committed(one) {
  const found = Object.entries(one.texts ?? {}).map(async ([field, [text, salt]]) => {
    const hash = await sha256(joined(fromHex(salt), bytesOf(text.normalize("NFC"))));
    return /** @type {[string, string]} */ ([field, hex(hash)]);
  });
  return { ...one, committed: await Promise.all(found) };
}
