/* Files of photos on their way, in the store. What was sent is no longer kept. */

import { all, get, write } from "./db.js";

export const waiting = () => all("photos");
/** @param {string} id */
export const file = (id) => get("photos", id);

/** The record took or refused the file: `fault` says why it did not. After signing out there is
    nothing left that it is of.
    @param {string} id
    @param {string | null} fault */
export function done(id, fault) {
  return write(["photos", "outbox"], ({ photos, outbox }) => {
    photos.delete(id);
    const asked = outbox.get(id);
    asked.onsuccess = () => {
      if (!asked.result) return;
      outbox.put({ ...asked.result, file: fault ? "refused" : "sent", fileFault: fault });
    };
  });
}
