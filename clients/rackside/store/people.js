/* One's own collections, and those whose checks one reports, in `meta`: `own`, `named` as the server
   lists them, `naming` those that it is still to be told. A name goes beside the log, by an id. */

import { get, write } from "./db.js";
import { whileSignedIn } from "./session.js";

/** @param {Session} session
    @param {{ own: Person[], named: Person[] }} listed */
export function takePeople(session, listed) {
  return write(["meta"], ({ meta }) =>
    whileSignedIn(meta, session, () => {
      meta.put(listed.own, "own");
      meta.put(listed.named, "named");
    }));
}

/** The pairings in place of those before.
    @param {Session} session
    @param {KeptPairing[]} pairings */
export function takeSeason(session, pairings) {
  return write(
    ["meta"],
    ({ meta }) => whileSignedIn(meta, session, () => meta.put(pairings, "season")),
  );
}

export const naming = async () => (await get("meta", "naming")) ?? [];

/** Adds one to those the server is to be told; with a transaction over `meta`.
    @param {IDBObjectStore} meta
    @param {Person} person */
export function name(meta, person) {
  const asked = meta.get("naming");
  asked.onsuccess = () => meta.put([...(asked.result ?? []), person], "naming");
}

/** Adds those of them whose ids are not there yet.
    @param {Person[]} persons */
export function nameAll(persons) {
  return write(["meta"], ({ meta }) => {
    const asked = meta.get("naming");
    asked.onsuccess = () => {
      const held = new Map([...(asked.result ?? []), ...persons].map((one) => [one.id, one]));
      if (persons.length) meta.put([...held.values()], "naming");
    };
  });
}

/** The server was told of this one, or refuses the name: `taken` tells which.
    @param {Session} session
    @param {Person} person
    @param {boolean} taken */
export function named(session, person, taken) {
  return write(["meta"], ({ meta }) =>
    whileSignedIn(meta, session, () => {
      const asked = meta.get("naming");
      asked.onsuccess = () =>
        meta.put(
          (asked.result ?? []).filter((/** @type {Person} */ { id }) => id !== person.id),
          "naming",
        );
      if (!taken) return;
      const known = meta.get("named");
      known.onsuccess = () => meta.put([...(known.result ?? []), person], "named");
    }));
}
