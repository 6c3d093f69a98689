/* What waits on this phone as a file, for another device of its keeper: a phone reads it here, a
   computer by `scalewitness send`. */

import { decode64, encode64 } from "../shared/bytes.js";
import { isEdit, itemOf } from "./edits.js";
import { KINDS, notStated } from "./hatch.js";
import { isOwed, isUnsent, needsYou } from "./outbox.js";

const FORMAT = "unsent-1";

/** `files`: photos as stored, {id, bytes}. Items in the order they were made, as `POST push` takes
    them; `shown`, what a phone lists them by. Signatures stay behind: they name this device.
    Edits of records are set apart, as they are no facts; so is a hatch day that is under way, which
    a phone alone can go on with.
    @param {Stored[]} records
    @param {PhotoFile[]} files
    @param {{ server: string, keeper: string, naming?: Person[], hatchDays?: HandedOver[] }} whose */
export function exported(records, files, { server, keeper, naming = [], hatchDays = [] }) {
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
    hatch_days: hatchDays.map((one) => ({
      sitting: one.sitting,
      photos: pictures(files, one.files),
    })),
    photos: pictures(files, [...wanted]),
    practitioners: naming,
    shown: items.map(({ id, call, shown }) => ({ id, call, ...shown })),
  };
}

/** @param {PhotoFile[]} files
    @param {string[]} ids */
const pictures = (files, ids) =>
  files.filter(({ id }) => ids.includes(id)).map(({ id, bytes }) => ({
    id,
    jpeg: encode64(new Uint8Array(bytes)),
  }));

/** The sitting as another phone of its keeper goes on with it, and the files that go along: what is on
    record already is left out, as it is not stated there again. Ids stay: what both phones state all
    the same counts once. Null: there is nothing left to be stated.
    @param {Sitting} held
    @param {Stored[]} records
    @returns {HandedOver | null} */
export function handedOver(held, records) {
  if (!notStated([held], records).length) return null;
  const { carried: _, ...sitting } = held;
  const outbox = new Map(records.map((one) => [one.id, one]));
  const isIn = (/** @type {string} */ id) => outbox.get(id)?.state === "accepted";
  const young = held.young.map((one) => ({
    ...one,
    known: one.known || isIn(one.ids.animal_registered),
    ...(isIn(one.ids.husbandry_noted) && { grams: "", weighed: null }),
    ...(isIn(one.ids.call_made) && { seen: "", conclusion: "", sexed: null }),
    photos: one.photos.filter(({ fact }) => !outbox.has(fact)),
  }));
  return {
    sitting: { ...sitting, young },
    files: young.flatMap(({ photos }) => photos.map(({ file }) => file)),
  };
}

/** What such a file holds; what one of before has no member for, it has none of. Throws an Error with
    a sentence for the keeper.
    @param {string} text
    @param {{ server: string, keeper: string }} whose
    @returns {Unsent} */
export function imported(text, { server, keeper }) {
  const found = parsed(text);
  if (found?.scalewitness !== FORMAT || !Array.isArray(found.items)) throw new Error(DAMAGED);
  if (found.server !== server) throw new Error(`It is for ${found.server}, and this is ${server}.`);
  if (found.keeper !== keeper) throw new Error("It is another keeper’s: nothing of it was taken.");
  const { items, edits = [], photos = [], practitioners = [], shown = [], hatch_days = [] } = found;
  const lists = [edits, photos, practitioners, shown, hatch_days];
  if (
    !lists.every(Array.isArray) || !items.every(isFact) || !edits.every(isSentEdit) ||
    !hatch_days.every((/** @type {any} */ one) => isHatchDay(one, keeper))
  ) {
    throw new Error(DAMAGED);
  }
  return {
    items,
    edits,
    photos: photos.map(picture),
    practitioners,
    shown,
    hatchDays: hatch_days.map((/** @type {any} */ { sitting, photos }) => ({
      sitting,
      photos: photos.map(picture),
    })),
  };
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
    @param {string} keeper */
const isHatchDay = (one, keeper) =>
  typeof one?.sitting?.id === "string" && one.sitting.by === keeper && Array.isArray(one.photos) &&
  Array.isArray(one.sitting.young) && one.sitting.young.every(isYoung);

/** @param {any} one */
const isYoung = (one) =>
  [one?.animal, one?.code, ...KINDS.map((kind) => one?.ids?.[kind])].every((member) =>
    typeof member === "string"
  ) && [one.photos, one.before].every(Array.isArray);

/** @param {any} one
    @returns {PhotoFile} */
function picture(one) {
  try {
    return { id: String(one.id), bytes: decode64(one.jpeg).buffer };
  } catch {
    throw new Error(DAMAGED);
  }
}
