/* Facts on their way, in the store. */

import { revise, write } from "./db.js";

export const put = (records) =>
  write(["outbox"], ({ outbox }) => records.forEach((one) => outbox.put(one)));

/** Changes the records of these ids as they stand on the disk now. */
export function change(ids, step) {
  const wanted = new Set(ids);
  return revise("outbox", (records) => step(records.filter((one) => wanted.has(one.id))));
}

/** Stores a call with what goes with it and drops its draft: on the disk together. */
export function saveCall(records, animal) {
  return write(["outbox", "drafts"], ({ outbox, drafts }) => {
    records.forEach((one) => outbox.put(one));
    drafts.delete(animal);
  });
}
