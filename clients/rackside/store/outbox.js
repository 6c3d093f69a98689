/* Facts on their way, in the store. */

import { revise, write } from "./db.js";

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

/** Stores a call with what goes with it, and the files of its photos, and drops its draft and
    the files that nothing needs any more: on the disk together.
    @param {Stored[]} records
    @param {PhotoFile[]} files
    @param {{ draft?: string, unneeded?: string[] }} gone */
export function saveCall(records, files, { draft = "", unneeded = [] }) {
  return write(["outbox", "drafts", "photos"], ({ outbox, drafts, photos }) => {
    records.forEach((one) => outbox.put(one));
    unneeded.forEach((id) => photos.delete(id));
    files.forEach((one) => photos.put(one));
    if (draft) drafts.delete(draft);
  });
}
