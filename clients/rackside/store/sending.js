/* When this phone pushed last, and how long the server asked it to wait: kept, so that no
   closed page and no second tab forgets it.

   `sending` in `meta`: {pushes, hold}. `hold`, or null: {from, seconds, asked, why, unconfirmed};
   only where the server `asked` for it does it bind, else it tells why nothing goes. */

import { get, write } from "./db.js";

/** @type {Sending} */
const NOTHING = { pushes: [], hold: null };
const KEPT = 20;

export const sending = async () => (await get("meta", "sending")) ?? NOTHING;

/** @param {number} moment */
export const pushedAt = (moment) =>
  revise((held) => ({ ...held, hold: null, pushes: [...held.pushes, moment].slice(-KEPT) }));

/** @param {Hold} hold */
export const holdFor = (hold) => revise((held) => ({ ...held, hold }));

/** All went well: nothing is counted any more. */
export const forgetAttempts = () => write(["meta"], ({ meta }) => meta.delete("sending"));

/** @param {(held: Sending) => Sending} step */
function revise(step) {
  return write(["meta"], ({ meta }) => {
    const asked = meta.get("sending");
    asked.onsuccess = () => meta.put(step(asked.result ?? NOTHING), "sending");
  });
}
