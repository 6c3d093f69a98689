/* Undoing and changing what was stated here and never sent: at once, or whenever its keeper looks
   at it. */

import { aside } from "../pure/outbox.js";
import {
  formOf,
  groupOf,
  isShelved,
  isUntried,
  mainOf,
  withDependents,
  withUndo,
} from "../pure/undo.js";
import { some } from "../store/db.js";
import { changeAll, remove, undo as undoStored } from "../store/outbox.js";
import { changed, state } from "./state.js";
import { sync } from "./sync.js";

/** What came of it, as a sentence, and where to go on. @typedef {{ told: string, hash?: string }} Done */

const GONE = "It was sent meanwhile: it can no longer be changed here.";
const BEGUN =
  "Something else was begun about this animal meanwhile. Save that first, and then change this.";

/** Undoes these, as if they had not been stated; a form is there again as it was filled in.
    @param {string[]} ids
    @returns {Promise<Done>} */
export async function undo(ids) {
  const group = state.outbox.filter(({ id }) => ids.includes(id)).sort((a, b) => a.order - b.order);
  if (group.length < ids.length) return { told: GONE };
  const draft = await draftOf(group);
  const end = await undoStored(ids, draft);
  await changed();
  if (end !== "taken") return { told: end === "begun" ? BEGUN : GONE };
  const { shown } = mainOf(group);
  return {
    told: `Undone: ${shown.title}, ${shown.line}.`,
    hash: draft ? shown.edit : undefined,
  };
}

/** Opens an entry to be changed. One without a form rests among those put aside until what it is
    changed to is stored.
    @param {Stored} one
    @returns {Promise<Done>} */
export async function edit(one) {
  const group = groupOf(state.outbox, one);
  const main = mainOf(group);
  if (main.form) return undo(group.map(({ id }) => id));
  const done = await shelve(one);
  return done.told ? done : { told: "", hash: `${main.shown.edit}?from=${main.id}` };
}

/** Puts an entry aside that was never sent, with what rests on it.
    @param {Stored} one
    @returns {Promise<Done>} */
export async function shelve(one) {
  const ids = withDependents(state.outbox, groupOf(state.outbox, one)).map(({ id }) => id);
  const did = await changeAll(ids, isUntried, (each) => aside(each));
  await changed();
  return { told: did ? "" : GONE };
}

/** Takes an entry up again that was put aside before it was sent.
    @param {Stored} one */
export async function takeUp(one) {
  const ids = groupOf(state.outbox, one).map(({ id }) => id);
  const now = Date.now();
  await changeAll(ids, isShelved, (each) => withUndo({ ...each, state: "saved" }, now));
  await changed();
  sync();
}

/** Deletes what was put aside before it was sent; nothing can bring it back.
    @param {Stored} one */
export async function discard(one) {
  await remove(groupOf(state.outbox, one).map(({ id }) => id));
  await changed();
}

/** @param {Stored[]} group
    @returns {Promise<Draft | null>} */
async function draftOf(group) {
  const form = formOf(group, await some("photos", group.map(({ id }) => id)));
  const { fact, shown } = mainOf(group);
  return form && { animal: fact.about, visit: shown.visit, form };
}
