// A state of the log that somebody else was shown, held to what is shown here and to what this
// browser saw before.

import { Refused, Unreachable } from "../shared/bytes.js";
import { browserMemory, Contradicted, service } from "./asking.js";
import { growth, here } from "./growth.js";
import { openCheckpoint, readNote } from "./notes.js";
import { continued } from "./seen_before.js";

/** @param {string} text
 * @param {VerifierKey[]} logs
 * @returns {Promise<Verdict>} */
export async function comparedVerdict(text, logs) {
  const head = await headOf(text, logs);
  const found = await growth(head, logs, here);
  if (found.grew === null) {
    return { state: "unknown", headline: "It could not be compared.", why: found.why };
  }
  const before = found.grew ? await contradicted(head, text) : found.why;
  if (before !== null) {
    bring(text);
    return { state: "fails", headline: FORKED, why: `${before} ${TO_DO}` };
  }
  const why =
    `What whoever sent you the link was shown, ${head.size} entries, is what the log shown here begins with.`;
  return { state: "holds", headline: "You are both shown the same log.", why };
}

const FORKED = "You are shown another log than whoever sent you this link.";
const TO_DO =
  "Rely on neither until it is cleared up. Keep the link: it holds the log’s signature, which proves the fault together with what is shown here. Tell whoever sent it, and others who rely on this log.";

/** @param {string} text
 * @param {VerifierKey[]} logs */
async function headOf(text, logs) {
  /** @type {Refused | undefined} */
  let refusal;
  for (const log of logs) {
    try {
      return (await openCheckpoint(readNote(text), log)).head;
    } catch (fault) {
      if (!(fault instanceof Refused)) throw fault;
      refusal ??= fault;
    }
  }
  throw refusal ?? new Refused("no key of the log is known");
}

/** What speaks against it of what this browser saw before, as a sentence; null where nothing does.
 * @param {Head} head
 * @param {string} note */
async function contradicted(head, note) {
  try {
    await continued({ head, note }, browserMemory(), service);
  } catch (fault) {
    if (fault instanceof Unreachable) return null;
    if (fault instanceof Contradicted) return "The service says itself that its log is not whole.";
    if (!(fault instanceof Refused)) throw fault;
    return `Held to what this browser saw before, ${fault.message}.`;
  }
  return null;
}

/** Tells the service, which may not know: whoever forks a log on purpose does.
 * @param {string} note */
function bring(note) {
  const headers = { "Content-Type": "application/json" };
  fetch("/api/v1/log/met", { method: "POST", headers, body: JSON.stringify({ note }) })
    .catch(() => null);
}
