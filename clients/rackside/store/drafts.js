/* What is being filled in, by its animal. One that was undone is kept until it is saved again or
   dropped: another form of the same animal, open in a second tab, does not take its place. */

import { get, write } from "./db.js";

/** @param {string} animal */
export const draftOf = (animal) => get("drafts", animal);

/** @param {Draft} draft */
export const keep = (draft) =>
  write(
    ["drafts"],
    ({ drafts }) => unlessUndone(drafts, draft.animal, draft.form, () => drafts.put(draft)),
  );

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
