/* Judges what the feed brought in this keeper's own name. */

import { isSigned } from "./keys.js";
import { judged } from "../pure/own_word.js";
import { all } from "../store/db.js";
import { answered, settle, trusted } from "../store/own_word.js";
import { key } from "../store/session.js";

/** Judges what is new, and anew what is in doubt and unanswered; whether anything changed. A browser
    that knows no Ed25519 tells nothing of what is signed.
    @param {Session} session */
export async function judge(session) {
  const held = await all("named");
  const open = held.filter(({ why, answer }) => why === null || (why !== "" && !answer));
  if (!open.length) return false;
  const own = await key();
  const keys = [...await trusted(), ...(own ? [own.enrolment.key] : [])];
  const { doubts } = await judged(keys, held, open, verify);
  const outbox = new Map((await all("outbox")).map((one) => [one.id, one]));
  const found = doubts.map((why, at) => {
    const untold = !own && open[at].entry.sig !== null;
    return untold || isSaidHere(outbox.get(open[at].id), open[at]) ? "" : why;
  });
  await settle(session, open, found);
  return found.some((why, at) => why !== open[at].why);
}

/** The keeper's answer to facts. A key that signed what is theirs is theirs.
    @param {InMyName[]} facts
    @param {"mine" | "not mine"} answer */
export async function reply(facts, answer) {
  const { keys } = await judged([], await all("named"), [], verify);
  const devices = facts.filter(({ why }) => why === "by_password").map(({ entry }) => entry.device);
  const theirs = answer === "mine" ? devices.map((one) => keys.get(one ?? "") ?? "") : [];
  await answered(facts, answer, theirs.filter(Boolean));
}

/** @param {string} publicKey
    @param {OwnEntry} entry */
async function verify(publicKey, entry) {
  try {
    return await isSigned(publicKey, entry);
  } catch {
    return true; // nothing can be told here
  }
}

/** @param {Stored | undefined} record
    @param {InMyName} one */
function isSaidHere(record, { entry }) {
  if (!record) return false;
  const { kind, at, about, body } = record.fact;
  const said = JSON.stringify([kind, at, about, sorted(body)]);
  return said === JSON.stringify([entry.kind, entry.at, entry.about, sorted(entry.body)]);
}

/** As text that does not depend on the order of members.
    @param {any} value
    @returns {any} */
function sorted(value) {
  if (Array.isArray(value)) return value.map(sorted);
  if (value === null || typeof value !== "object") return value;
  return Object.entries(value).sort(([a], [b]) => (a < b ? -1 : 1)).map(([k, v]) => [k, sorted(v)]);
}
