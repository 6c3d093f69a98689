/* What waits on this phone as a file, for whom it must leave. `scalewitness send` reads it. */

import { encode64 } from "../shared/bytes.js";
import { itemOf } from "./edits.js";
import { isOwed, isUnsent, needsYou } from "./outbox.js";

const FORMAT = "unsent-1";

/** `files`: photos as stored, {id, bytes}. Items in the order they were made, as `POST push` takes
    them. Signatures stay behind: they name a device that is about to go.
    @param {Stored[]} records
    @param {PhotoFile[]} files
    @param {{ server: string, keeper: string, naming?: Person[] }} whose */
export function exported(records, files, { server, keeper, naming = [] }) {
  const mine = records.filter((one) => isOwed(one) && one.by === keeper).sort((a, b) =>
    a.order - b.order
  );
  const wanted = new Set(mine.map(({ id }) => id));
  return {
    scalewitness: FORMAT,
    server,
    keeper,
    items: mine.filter((one) => isUnsent(one) || needsYou(one)).map(itemOf),
    photos: files.filter(({ id }) => wanted.has(id)).map(({ id, bytes }) => ({
      id,
      jpeg: encode64(new Uint8Array(bytes)),
    })),
    practitioners: naming,
  };
}
