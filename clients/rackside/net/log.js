/* Looks at the log before anything of the feed is taken in: signed by the key that this phone knows,
   and continuing what it saw before. */

import { whyNot } from "../checking/ed25519.js";
import { readVerifier } from "../checking/keys.js";
import { mapIn } from "../checking/stated.js";
import { Refused as Unfit } from "../shared/bytes.js";
import { held } from "../pure/log.js";
import { accept, alarms, known, raise, standing } from "../store/log.js";
import { ask, Refused } from "./api.js";
import { newId } from "./keys.js";

/** Whether the feed may be taken in: no alarm stands. The first time, the key is taken on trust. A
    browser that knows no Ed25519 tells nothing. Throws Unreachable or Refused.
    @param {Session} session
    @param {AbortSignal} signal */
export async function look(session, signal) {
  if (standing(await alarms())) return false;
  if (await whyNot()) return true;
  const before = await known(); // read first: an honest log then shows no less
  const shown = await ask("GET", "log/checkpoint", { signal });
  if (!(await isContinued(session, before, shown.note, signal, String(shown.key)))) return false;
  if (!(await known())?.size) return true; // of an empty log nothing tells when it was signed
  const [newest, seen] = [await newestOf(signal), await known()];
  return !newest || !seen ||
    await isContinued(session, seen, newest.checkpoint, signal, "", newest);
}

/** The newest state signed, with the entry that its tree ends with; null where the log has none.
    @param {AbortSignal} signal */
async function newestOf(signal) {
  try {
    return await ask("GET", "log/freshness", { signal });
  } catch (fault) {
    if (fault instanceof Refused && fault.status === 404) return null;
    throw fault;
  }
}

/** Whether a checkpoint that was shown continues what was known `before` it was asked for; then it
    is what is known. Else an alarm is raised. `trusted`: the key where none was known; `answer`:
    what came with it, which tells when it was signed.
    @param {Session} session
    @param {KnownLog | null} before
    @param {unknown} note
    @param {AbortSignal} signal
    @param {string} [trusted]
    @param {any} [answer] */
export async function isContinued(session, before, note, signal, trusted = "", answer = null) {
  if (typeof note !== "string") throw new Refused(502, null, null); // it says nothing of the log
  const [key, at] = [before?.key ?? trusted, Date.now()];
  const kept = before?.note ?? null;
  const found = await held(key, kept, note, asked(signal));
  if (!found.trouble) {
    const followed = [...before?.followed ?? [], ...found.followed];
    const signed = answer ? await signedAt(answer, found.key) : before?.signed;
    await accept(session, before, { key: found.key, note, at, size: found.size, followed, signed });
    return true;
  }
  await raise(session, { ...found.trouble, id: newId(), at, key, kept, shown: note, answer: null });
  return false;
}

/** When a state was signed, by the log's clock, and within how many seconds the next one is promised.
    @param {any} answer
    @param {string} key */
async function signedAt(answer, key) {
  const within = Number(answer.signs_within);
  try {
    const { received, why } = await mapIn(answer, [await readVerifier(key)]);
    return { at: why === null ? received : null, within };
  } catch (fault) {
    if (!(fault instanceof Unfit)) throw fault;
    return { at: null, within };
  }
}

/** @param {AbortSignal} signal
    @returns {AskedOfLog} */
const asked = (signal) => ({
  consistency: (old, now) => textsIn(`log/consistency?old=${old}&new=${now}`, "proof", signal),
  keyChanges: async () => await textsIn("log/key-changes", "changes", signal) ?? [],
});

/** A list in an answer; null where the log refuses it.
    @param {string} path
    @param {string} name
    @param {AbortSignal} signal
    @returns {Promise<string[] | null>} */
export async function textsIn(path, name, signal) {
  try {
    const found = (await ask("GET", path, { signal }))[name];
    return Array.isArray(found) ? found.map(String) : null;
  } catch (fault) {
    if (fault instanceof Refused && [400, 404, 422].includes(fault.status)) return null;
    throw fault;
  }
}
