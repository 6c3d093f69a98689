/* Who is signed in on this phone, and the key it signs with.

   `session` in the store: {keeper, name, email, device, token, expired}. `key`: {pair, enrolment,
   state} with state "pending" | "enrolled" | "refused"; the private half cannot be taken out of
   the browser. No key: the browser cannot make one, and calls go unsigned. */

import { EVERY_STORE, get, write } from "./db.js";

export const session = () => get("meta", "session");
export const key = () => get("meta", "key");

/** Begins one where `isFree` says of what is on the disk that nobody else's is lost by it; then what
    another keeper had here goes. Whether it began: in one transaction, as another tab may be storing.
    @param {{ session: Session } & Record<string, unknown>} values
    @param {(outbox: Stored[], sittings: Sitting[]) => boolean} isFree */
export async function begin(values, isFree) {
  let began = false;
  await write(EVERY_STORE, (open) => {
    const before = open.meta.get("session");
    const outbox = open.outbox.getAll();
    const sittings = open.sittings.getAll();
    sittings.onsuccess = () => { // the last that was asked, so the others are answered
      began = isFree(outbox.result, sittings.result);
      if (!began) return;
      if (before.result && before.result.keeper !== values.session.keeper) {
        EVERY_STORE.forEach((name) => open[name].clear());
      }
      put(open.meta, values);
    };
  });
  return began;
}

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
  return write(["meta"], ({ meta }) => put(meta, values));
}

/** @param {IDBObjectStore} meta
    @param {Record<string, unknown>} values null: none any more */
function put(meta, values) {
  for (const [name, value] of Object.entries(values)) {
    if (value === null) meta.delete(name);
    else meta.put(value, name);
  }
}
