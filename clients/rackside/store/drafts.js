/* What is being filled in, by its animal. One that was undone is kept until it is saved again or
   dropped: another form of the same animal, open in a second tab, does not take its place. */

import { get, write } from "./db.js";
import { whileSomebody } from "./session.js";

/** @param {string} animal */
export const draftOf = (animal) => get("drafts", animal);

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
