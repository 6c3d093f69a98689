// Whether the log, as it shows itself now, still begins with the tree of a receipt.

import { decode64, Refused, Unreachable } from "../shared/bytes.js";
import { verifyConsistency } from "./merkle.js";
import { openCheckpoint, readNote } from "./notes.js";

/** {grew: true, size}, {grew: false, why, evidence}, or {grew: null, why} where it cannot be
 * told. `logs` are the log's keys relied on; `ask` reads {checkpoint(), proof(old, new)} and
 * throws Unreachable. `evidence` is the signed checkpoint that contradicts the receipt.
 * @param {Head} head
 * @param {VerifierKey[]} logs
 * @param {typeof here} ask
 * @returns {Promise<Growth>} */
export async function growth(head, logs, ask) {
  try {
    const note = await ask.checkpoint();
    return await compared(head, await latest(note, logs), note, ask);
  } catch (fault) {
    if (fault instanceof Unreachable) return { grew: null, why: fault.message };
    if (!(fault instanceof Refused)) throw fault;
    return { grew: null, why: `What the log answered cannot be relied on: ${fault.message}.` };
  }
}

/** @param {Bytes} note
 * @param {VerifierKey[]} logs */
async function latest(note, logs) {
  let refusal;
  for (const log of logs) {
    try {
      return (await openCheckpoint(readNote(note), log)).head;
    } catch (fault) {
      if (!(fault instanceof Refused)) throw fault;
      refusal ??= fault;
    }
  }
  throw refusal;
}

/** @param {Head} old
 * @param {Head} now
 * @param {Bytes} note
 * @param {typeof here} ask
 * @returns {Promise<Growth>} */
async function compared(old, now, note, ask) {
  if (now.size < old.size) {
    const why =
      `The log now shows ${now.size} entries, fewer than the ${old.size} it signed for then.`;
    return { grew: false, why, evidence: note };
  }
  const proof = await ask.proof(old.size, now.size);
  const continued = await verifyConsistency({
    size1: old.size,
    root1: old.root,
    size2: now.size,
    root2: now.root,
    proof: proof.map(decode64),
  });
  if (continued) return { grew: true, size: now.size };
  const why =
    "What the log shows now cannot be shown to begin with the entries it signed for then.";
  return { grew: false, why, evidence: note };
}

/** Asks the service that this page came from. */
export const here = {
  checkpoint: async () => new Uint8Array(await (await fetched("/log/checkpoint")).arrayBuffer()),
  proof: async (/** @type {bigint} */ old, /** @type {bigint} */ now) => {
    const answer = await fetched(`/api/v1/log/consistency?old=${old}&new=${now}`);
    const { proof } = await answer.json();
    if (!Array.isArray(proof)) throw new Refused("no proof");
    return proof;
  },
};

const ALL_THE_SAME = "What the receipt itself shows does not depend on that.";

/** An answer of this service. Throws Unreachable with a sentence.
 * @param {string} path */
export async function fetched(path) {
  let answer;
  try {
    answer = await fetch(path, { redirect: "manual", cache: "no-store" });
  } catch {
    throw new Unreachable(`There was no connection to this service. ${ALL_THE_SAME}`);
  }
  if (answer.ok) return answer;
  if (answer.type === "opaqueredirect") {
    throw new Unreachable("You are signed out. Sign in and open this page again.");
  }
  throw new Unreachable(`This service gave no answer just now (${answer.status}). ${ALL_THE_SAME}`);
}
