/* What waits on this phone as a file, for another device of its keeper: a phone reads it here, a
   computer by `scalewitness send`. */

import { decode64, encode64 } from "../shared/bytes.js";
import { isEdit, itemOf } from "./edits.js";
import { isOwed, isUnsent, needsYou } from "./outbox.js";

const FORMAT = "unsent-1";

/** `files`: photos as stored, {id, bytes}. Items in the order they were made, as `POST push` takes
    them; `shown`, what a phone lists them by. Signatures stay behind: they name this device.
    Edits of records are set apart, as they are no facts.
    @param {Stored[]} records
    @param {PhotoFile[]} files
    @param {{ server: string, keeper: string, naming?: Person[] }} whose */
export function exported(records, files, { server, keeper, naming = [] }) {
  const mine = records.filter((one) => isOwed(one) && one.by === keeper).sort((a, b) =>
    a.order - b.order
  );
  const wanted = new Set(mine.map(({ id }) => id));
  const items = mine.filter((one) => isUnsent(one) || needsYou(one));
  return {
    scalewitness: FORMAT,
    server,
    keeper,
    items: items.filter((one) => !isEdit(one)).map(itemOf),
    edits: items.filter(isEdit).map(itemOf),
    photos: files.filter(({ id }) => wanted.has(id)).map(({ id, bytes }) => ({
      id,
      jpeg: encode64(new Uint8Array(bytes)),
    })),
    practitioners: naming,
    shown: items.map(({ id, call, shown }) => ({ id, call, ...shown })),
  };
}

/** What such a file holds. Throws an Error with a sentence for the keeper.
    @param {string} text
    @param {{ server: string, keeper: string }} whose
    @returns {Unsent} */
export function imported(text, { server, keeper }) {
  const found = parsed(text);
  if (found?.scalewitness !== FORMAT || !Array.isArray(found.items)) throw new Error(DAMAGED);
  if (found.server !== server) throw new Error(`It is for ${found.server}, and this is ${server}.`);
  if (found.keeper !== keeper) throw new Error("It is another keeper’s: nothing of it was taken.");
  const { items, edits = [], photos = [], practitioners = [], shown = [] } = found;
  const lists = [edits, photos, practitioners, shown];
  if (!lists.every(Array.isArray) || !items.every(isFact) || !edits.every(isSentEdit)) {
    throw new Error(DAMAGED);
  }
  return { items, edits, photos: photos.map(picture), practitioners, shown };
}

const DAMAGED = "It is not a file of unsent entries, or it is damaged: nothing of it was taken.";

/** @param {string} text */
function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

/** @param {any} one */
const isFact = (one) =>
  [one?.id, one?.kind, one?.at, one?.about].every((member) => typeof member === "string") &&
  typeof one.body === "object" && one.body !== null;

/** @param {any} one */
const isSentEdit = (one) =>
  [one?.id, one?.record].every((member) => typeof member === "string") &&
  Number.isInteger(one.base_version) && typeof one.fields === "object" && one.fields !== null;

/** @param {any} one
    @returns {PhotoFile} */
function picture(one) {
  try {
    return { id: String(one.id), bytes: decode64(one.jpeg).buffer };
  } catch {
    throw new Error(DAMAGED);
  }
}
