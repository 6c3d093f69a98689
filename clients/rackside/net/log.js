/* Looks at the log before anything of the feed is taken in: signed by the key that this phone knows,
   and continuing what it saw before. */

import { whyNot } from "../checking/ed25519.js";
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
  return await isContinued(session, before, shown.note, signal, String(shown.key));
}

/** Whether a checkpoint that was shown continues what was known `before` it was asked for; then it
    is what is known. Else an alarm is raised. `trusted`: the key where none was known.
    @param {Session} session
    @param {KnownLog | null} before
    @param {unknown} note
    @param {AbortSignal} signal
    @param {string} [trusted] */
export async function isContinued(session, before, note, signal, trusted = "") {
  if (typeof note !== "string") throw new Refused(502, null, null); // it says nothing of the log
  const [key, at] = [before?.key ?? trusted, Date.now()];
  const kept = before?.note ?? null;
  const found = await held(key, kept, note, asked(signal));
  if (!found.trouble) {
    const followed = [...before?.followed ?? [], ...found.followed];
    await accept(session, before, { key: found.key, note, at, size: found.size, followed });
    return true;
  }
  await raise(session, { ...found.trouble, id: newId(), at, key, kept, shown: note, answer: null });
  return false;
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
