/* Who is signed in on this phone, and the key it signs with.

   `session` in the store: {keeper, name, email, device, token, expired}. `key`: {pair, enrolment,
   state} with state "pending" | "enrolled" | "refused"; the private half cannot be taken out of
   the browser. No key: the browser cannot make one, and calls go unsigned. */

import { get, write } from "./db.js";

export const session = () => get("meta", "session");
export const key = () => get("meta", "key");

/** Its token is no longer taken. Nothing happens if somebody signed out or in meanwhile.
    @param {Session} session */
export function expire(session) {
  return write(["meta"], ({ meta }) =>
    whileSignedIn(meta, session, () => {
      meta.put({ ...session, expired: true }, "session");
    }));
}

/** What the server said of its key. As above.
    @param {Session} session
    @param {PhoneKey} key */
export function keepKey(session, key) {
  return write(
    ["meta"],
    ({ meta }) => whileSignedIn(meta, session, () => meta.put(key, "key")),
  );
}

/** Does `work` within a transaction over `meta` if that session is still the one in the store: what
    an answer brought after signing out is not kept, nor given to whoever signed in since.
    @param {IDBObjectStore} meta
    @param {Session} session
    @param {() => unknown} work */
export function whileSignedIn(meta, session, work) {
  whileSomebody(meta, ({ device }) => {
    if (device === session.device) work();
  });
}

/** The same, whoever is signed in.
    @param {IDBObjectStore} meta
    @param {(session: Session) => unknown} work */
export function whileSomebody(meta, work) {
  const asked = meta.get("session");
  asked.onsuccess = () => {
    if (asked.result) work(asked.result);
  };
}

/** @param {Record<string, unknown>} values */
export function keep(values) {
  return write(["meta"], ({ meta }) => {
    for (const [name, value] of Object.entries(values)) {
      if (value === null) meta.delete(name);
      else meta.put(value, name);
    }
  });
}
