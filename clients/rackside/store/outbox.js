/* Facts on their way, in the store. */

import { revise, write } from "./db.js";
import { name } from "./people.js";

/** @param {Stored[]} records */
export const put = (records) =>
  write(["outbox"], ({ outbox }) => records.forEach((one) => outbox.put(one)));

/** Changes the records of these ids as they stand on the disk now.
    @param {string[]} ids
    @param {(records: Stored[]) => Stored[]} step */
export function change(ids, step) {
  const wanted = new Set(ids);
  return revise("outbox", (records) => step(records.filter((one) => wanted.has(one.id))));
}

/** Stores a call with what goes with it, the files of its photos and whom it names for the first
    time, and drops its draft and the files that nothing needs any more: on the disk together. `once`:
    ids of records that are stored only where none of these is there yet, else nothing is.
    @param {Stored[]} records
    @param {PhotoFile[]} files
    @param {{ draft?: string, unneeded?: string[], person?: Person | null, once?: string[] }} more */
export function saveCall(records, files, { draft = "", unneeded = [], person = null, once = [] }) {
  return write(["outbox", "drafts", "photos", "meta"], ({ outbox, drafts, photos, meta }) => {
    if (person) name(meta, person);
    records.forEach((one) => once.includes(one.id) ? outbox.add(one) : outbox.put(one));
    unneeded.forEach((id) => photos.delete(id));
    files.forEach((one) => photos.put(one));
    if (draft) drafts.delete(draft);
  });
}
