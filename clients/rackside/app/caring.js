/* Care of one's own animals becomes facts on this phone: signed, stored, then sent. */

import { newId } from "../net/keys.js";
import { isSlip, line } from "../pure/care.js";
import { withNote } from "../pure/leaf.js";
import { title } from "../pure/search.js";
import { announce } from "./announcing.js";
import { readingNow } from "./logging.js";
import { OWN, state } from "./state.js";
import { oneAtATime, record, store } from "./stating.js";

/** @import { Noted } from "../pure/care.js" */

/** What is stated here about an animal, also what was put aside.
    @param {string} animal */
export const statedOf = (animal) => state.outbox.filter(({ fact }) => fact.about === animal);

/** Where an entry of this sort is opened to be changed.
    @param {Animal} animal
    @param {Noted} noted */
const editor = (animal, { type }) => `#/own/${animal.id}/${type}`;

/** Stores what was noted of these animals in one go, and says so at `hash`. Returns when it is on the
    disk, or has said that there is no room. What is a slip is stored once.
    @param {{ animal: Animal, noted: Noted, text?: string }[]} given
    @param {{ said: string, hash: string }} where */
export const note = oneAtATime(noted);

/** @param {{ animal: Animal, noted: Noted, text?: string }[]} given
    @param {{ said: string, hash: string }} where */
async function noted(given, { said, hash }) {
  const now = Date.now();
  const fresh = given.filter(({ animal, noted, text }) =>
    text || !isSlip(statedOf(animal.id), noted, now)
  );
  if (!fresh.length) {
    location.hash = hash;
    return;
  }
  const reading = readingNow();
  /** @type {Stored[]} */
  const records = [];
  for (const [place, one] of fresh.entries()) records.push(await stated(one, reading, place));
  await store(records);
  announce(said, hash, { undo: records.map(({ id }) => id) });
}

/** @param {{ animal: Animal, noted: Noted, text?: string }} given
    @param {Reading} reading
    @param {number} place
    @returns {Promise<Stored>} */
async function stated({ animal, noted, text = "" }, reading, place) {
  const at = new Date(reading.here).toISOString();
  const id = newId();
  const salt = crypto.getRandomValues(new Uint8Array(32));
  const bare = { id, kind: "husbandry_noted", at, about: animal.id, body: { noted } };
  const shown = {
    visit: OWN.id,
    title: title(animal),
    line: line(noted, text.trim()),
    edit: editor(animal, noted),
  };
  const made = { shown, form: null, reading, call: id, place };
  return await record(await withNote(bare, text, salt), made);
}
