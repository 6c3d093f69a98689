/* An animal moves to another tub: an edit of its record, kept and sent like what is stated. */

import { newId } from "../net/keys.js";
import { isEdit, moving } from "../pure/edits.js";
import { aside, needsYou } from "../pure/outbox.js";
import { title } from "../pure/search.js";
import { announce } from "./announcing.js";
import { OWN, state } from "./state.js";
import { oneAtATime, store, unsigned } from "./stating.js";

/** The edit that the server did not take, which is to be decided again; undefined where there is none.
    @param {string} animal
    @param {string} [id] */
export const undecided = (animal, id) =>
  state.outbox.find((one) =>
    one.id === id && isEdit(one) && one.fact.about === animal && needsYou(one)
  );

/** Stores where it stands now, in place of what was not taken. Returns when it is on the disk.
    @param {Animal} animal as the record has it
    @param {string} place
    @param {Stored | undefined} refused */
export const move = oneAtATime(stored);

/** @param {Animal} animal
    @param {string} place
    @param {Stored | undefined} refused */
async function stored(animal, place, refused) {
  const now = Date.now();
  const id = newId();
  const version = Math.max(animal.version ?? 1, refused?.version ?? 1);
  const at = new Date(now).toISOString();
  const told = title(animal);
  const text = place ? `moved to ${place}` : "its place was cleared";
  const made = unsigned(moving({ id, at, animal: { ...animal, version }, place }), {
    visit: OWN.id,
    title: told,
    line: text[0].toUpperCase() + text.slice(1),
    edit: `#/own/${animal.id}/move`,
  }, now);
  await store([made, ...(refused ? [aside(refused, id)] : [])]);
  announce(`${told}: ${text}, saved here.`, `#/own/${animal.id}`, { undo: [id] });
}
