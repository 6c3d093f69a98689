/* When this phone pushed last, and how long the server asked it to wait: kept, so that no
   closed page and no second tab forgets it.

   `sending` in `meta`: {pushes, hold}. `hold`, or null: {from, seconds, asked, why, unconfirmed};
   only where the server `asked` for it does it bind, else it tells why nothing goes. */

import { get, write } from "./db.js";
import { whileSignedIn } from "./session.js";

/** @type {Sending} */
const NOTHING = { pushes: [], hold: null };
const KEPT = 20;

export const sending = async () => (await get("meta", "sending")) ?? NOTHING;

/** @param {Session} session
    @param {number} moment */
export const pushedAt = (session, moment) =>
  revise(
    session,
    (held) => ({ ...held, hold: null, pushes: [...held.pushes, moment].slice(-KEPT) }),
  );

/** @param {Session} session
    @param {Hold} hold */
export const holdFor = (session, hold) => revise(session, (held) => ({ ...held, hold }));

/** All went well: nothing is counted any more. */
export const forgetAttempts = () => write(["meta"], ({ meta }) => meta.delete("sending"));

/** @param {Session} session
    @param {(held: Sending) => Sending} step */
function revise(session, step) {
  return write(["meta"], ({ meta }) =>
    whileSignedIn(meta, session, () => {
      const asked = meta.get("sending");
      asked.onsuccess = () => meta.put(step(asked.result ?? NOTHING), "sending");
    }));
}
