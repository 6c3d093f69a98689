/* Facts on their way, in the store. What its keeper undoes and what is sent are told apart here:
   each is one transaction that looks at what the other has done. */

import { isOver } from "../pure/afterwards.js";
import { isShelved, isUntried } from "../pure/undo.js";
import { isOwed, isUnsent, sent } from "../pure/outbox.js";
import { revise, write } from "./db.js";
import { unlessUndone } from "./drafts.js";
import { name } from "./people.js";

/** Changes the records of these ids as they stand on the disk now.
    @param {string[]} ids
    @param {(records: Stored[]) => Stored[]} step */
export function change(ids, step) {
  const wanted = new Set(ids);
  return revise("outbox", (records) => step(records.filter((one) => wanted.has(one.id))));
}

/** Stores what was stated with what goes with it, the files of its photos and whom it names for the
    first time, and drops its draft, the files that nothing needs any more and the shelved entries
    that it is `instead` of: on the disk together. `once`: ids of records that are stored only where
    none of these is there yet, else nothing is.
    @param {Stored[]} records
    @param {PhotoFile[]} files
    @param {{
      draft?: string, unneeded?: string[], instead?: string[], person?: Person | null, once?: string[],
    }} more */
export function save(
  records,
  files,
  { draft = "", unneeded = [], instead = [], person = null, once = [] },
) {
  return write(["outbox", "drafts", "photos", "meta"], ({ outbox, drafts, photos, meta }) => {
    if (person) name(meta, person);
    drop({ outbox, photos }, instead, isShelved);
    records.forEach((one) => once.includes(one.id) ? outbox.add(one) : outbox.put(one));
    unneeded.forEach((id) => photos.delete(id));
    files.forEach((one) => photos.put(one));
    const made = records.find(({ form }) => form)?.form ?? null;
    if (draft) unlessUndone(drafts, draft, made, () => drafts.delete(draft));
  });
}

/** Those of them that are still to be sent, marked as sent: what was undone meanwhile does not
    go. Returns when the disk knows.
    @param {Stored[]} batch
    @param {number} now
    @returns {Promise<Stored[]>} */
export async function claim(batch, now) {
  /** @type {Stored[]} */
  let going = [];
  await write(["outbox"], ({ outbox }) => {
    const asked = outbox.getAll();
    asked.onsuccess = () => {
      /** @type {Map<string, Stored>} */
      const here = new Map(asked.result.map((one) => [one.id, one]));
      going = batch.flatMap(({ id, device, sig, edit }) => {
        const held = here.get(id);
        const made = edit ? { edit } : {};
        return held && isToGo(held) ? [sent({ ...held, ...made, device, sig }, now)] : [];
      });
      going.forEach((one) => outbox.put(one));
    };
  });
  return going;
}

/** @param {Stored} one */
const isToGo = (one) => isUnsent(one) || one.state === "held";

/** Deletes those of them that were put aside before they were sent.
    @param {string[]} ids */
export const remove = (ids) => write(["outbox", "photos"], (open) => drop(open, ids, isShelved));

/** Forgets what is long since on record, so that a year's feeding does not slow each change.
    @param {number} now */
export const forgetOld = (now) =>
  write(["outbox"], ({ outbox }) => {
    const asked = outbox.getAll();
    asked.onsuccess = () =>
      /** @type {Stored[]} */ (asked.result).forEach((one) =>
        isOver(one, now) && outbox.delete(one.id)
      );
  });

/** Undoes what was never sent, and leaves `draft` to be filled in further: all of it or nothing.
    "gone": some of it went, or is no longer here; "begun": there is another draft of that animal.
    @param {string[]} ids
    @param {Draft | null} draft
    @returns {Promise<"taken" | "gone" | "begun">} */
export async function undo(ids, draft) {
  /** @type {"taken" | "gone" | "begun"} */
  let end = "gone";
  await write(["outbox", "drafts", "photos"], ({ outbox, drafts, photos }) => {
    const asked = outbox.getAll();
    const begun = drafts.get(draft?.animal ?? "");
    begun.onsuccess = () => {
      const found = of(asked.result, ids);
      if (found.length < ids.length || !found.every(isUntried)) return;
      end = draft && begun.result ? "begun" : "taken";
      if (end === "begun") return;
      ids.forEach((id) => [outbox, photos].forEach((each) => each.delete(id)));
      if (draft) drafts.put(draft);
    };
  });
  return end;
}

/** All that is not on record yet of this keeper, marked as carried off in a file: from then on it may
    be sent from elsewhere. Returns when the disk knows.
    @param {string} by
    @param {number} now */
export async function carry(by, now) {
  /** @type {Stored[]} */
  let carried = [];
  await revise("outbox", (records) => {
    carried = records.filter((one) => isOwed(one) && one.by === by)
      .map((one) => ({ ...one, carried: now }));
    return carried;
  });
  return carried;
}

/** What `step` makes of them, if all of them are as they must be: whether they were.
    @param {string[]} ids
    @param {(one: Stored) => boolean} must
    @param {(one: Stored) => Stored} step */
export async function changeAll(ids, must, step) {
  let did = false;
  await revise("outbox", (records) => {
    const found = of(records, ids);
    did = found.length === ids.length && found.every(must);
    return did ? found.map(step) : [];
  });
  return did;
}

/** @param {Stored[]} records
    @param {string[]} ids */
const of = (records, ids) => records.filter(({ id }) => ids.includes(id));

/** Drops those that are as they must be, with their files, within a transaction over both.
    @param {OpenStores} open
    @param {string[]} ids
    @param {(one: Stored) => boolean} must */
function drop({ outbox, photos }, ids, must) {
  for (const id of ids) {
    const asked = outbox.get(id);
    asked.onsuccess = () => {
      if (!asked.result || !must(asked.result)) return;
      outbox.delete(id);
      photos.delete(id);
    };
  }
}
