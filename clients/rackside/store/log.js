/* What this phone knows of the log, and alarms about what it showed, in `meta`. An alarm stays here
   after it was answered; while one is not, nothing of the feed is taken in. */

import { get, write } from "./db.js";
import { whileSignedIn } from "./session.js";

export const known = async () => (await get("meta", "log")) ?? null;
export const alarms = async () => (await get("meta", "alarms")) ?? [];
/** The alarm that nobody has answered; null where none stands.
    @param {Alarm[]} raised */
export const standing = (raised) => raised.find(({ answer }) => answer === null) ?? null;

/** Accepts a checkpoint that was held to `before`; one that another tab kept meanwhile stays.
    @param {Session} session
    @param {KnownLog | null} before
    @param {KnownLog} now */
export function accept(session, before, now) {
  return write(["meta"], ({ meta }) =>
    whileSignedIn(meta, session, () => {
      const asked = meta.get("log");
      asked.onsuccess = () => {
        if (asked.result?.note === before?.note) meta.put(now, "log");
      };
    }));
}

/** Two tabs raise one.
    @param {Session} session
    @param {Alarm} alarm */
export function raise(session, alarm) {
  return write(["meta"], ({ meta }) =>
    whileSignedIn(meta, session, () => {
      const asked = meta.get("alarms");
      asked.onsuccess = () => {
        const raised = asked.result ?? [];
        if (!standing(raised)) meta.put([...raised, alarm], "alarms");
      };
    }));
}

/** Its keeper says what they found out. `anew`: what the log shows next is taken as the beginning,
    with the key that it has then.
    @param {string} id
    @param {NonNullable<Alarm["answer"]>} answer
    @param {boolean} anew */
export function settle(id, answer, anew) {
  return write(["meta", "outbox", "proved"], ({ meta, outbox, proved }) => {
    const asked = meta.get("alarms");
    asked.onsuccess = () => {
      if (!asked.result) return; // signed out in another tab
      const raised = /** @type {Alarm[]} */ (asked.result);
      meta.put(raised.map((one) => (one.id === id ? { ...one, answer } : one)), "alarms");
      if (!anew) return;
      ["log", "map_key"].forEach((name) => meta.delete(name));
      proved.clear();
      lookAgain(outbox);
    };
  });
}

/** What was sent is looked for in the log that begins here, too.
    @param {IDBObjectStore} outbox */
function lookAgain(outbox) {
  const asked = outbox.getAll();
  asked.onsuccess = () =>
    asked.result.forEach(({ place: _, chain: __, ...one }) => outbox.put(one));
}
