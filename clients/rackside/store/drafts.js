/* What is being filled in, by its animal; the first form of a hatch day, by the parents. One that was undone is kept until it is saved again or
   dropped: another form of the same animal, open in a second tab, does not take its place. */

import { get, write } from "./db.js";
import { whileSomebody } from "./session.js";

/** @param {string} animal */
export const draftOf = (animal) => get("drafts", animal);

/** Under what the first form of a hatch day is kept.
    @param {{ dam: string | null, sire: string | null }} parents */
export const hatchKey = ({ dam, sire }) => `hatch ${dam ?? ""} ${sire ?? ""}`;

/** @param {string} key
    @returns {Promise<HatchForm | undefined>} */
export const begunHatch = async (key) => /** @type {any} */ ((await get("drafts", key))?.form);

/** Of an animal that goes, or is to be checked blind, no clutch is kept.
    @param {IDBObjectStore} drafts
    @param {string} parent */
export function dropClutches(drafts, parent) {
  const asked = drafts.getAllKeys();
  asked.onsuccess = () =>
    asked.result.filter((key) => String(key).split(" ").indexOf(parent) > 0)
      .forEach((key) => drafts.delete(key));
}

/** Of a keeper who signed out in another tab nothing is kept.
    @param {string} keeper who fills it in
    @param {Draft} draft */
export const keep = (keeper, draft) =>
  write(["drafts", "meta"], ({ drafts, meta }) =>
    whileSomebody(meta, (session) => {
      if (session.keeper !== keeper) return;
      unlessUndone(drafts, draft.animal, draft.form, () => drafts.put(draft));
    }));

/** @param {string} animal */
export const discard = (animal) => write(["drafts"], ({ drafts }) => drafts.delete(animal));

/** Does `work` within a transaction over the drafts, unless another form of this animal was undone.
    @param {IDBObjectStore} drafts
    @param {string} animal
    @param {Pick<CallForm, "noted"> | null} form
    @param {() => unknown} work */
export function unlessUndone(drafts, animal, form, work) {
  const asked = drafts.get(animal);
  asked.onsuccess = () => {
    const undone = asked.result?.form.noted;
    if (!undone || undone.at === form?.noted?.at) work();
  };
}
