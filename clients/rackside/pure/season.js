/* The season as it happens, on the phone: pairings kept for noting, and what is noted of them. */

import { title } from "./search.js";
import { COUNTS, OFFERED, SEASON } from "./words.js";

/** A pairing as the calendar has it, cut down to what noting needs; of notes, the keeper's own.
    @param {any} one
    @param {string} keeper
    @returns {KeptPairing} */
export function kept({ pairing, mode, notes }, keeper) {
  return {
    id: pairing.id,
    season: pairing.season,
    mode,
    dam: named(pairing.dam),
    sire: named(pairing.sire),
    noted: notes
      .filter((/** @type {any} */ { by }) => by.id === keeper)
      .map((/** @type {any} */ { id, what, on }) => ({ id, what, on })),
  };
}

/** @param {{ animal: Animal } | null} half */
const named = (half) =>
  half && { id: half.animal.id, title: title(half.animal), species: half.animal.species.key };

/** @param {KeptPairing[]} season
    @param {string} animal */
export const pairingsWith = (season, animal) =>
  season.filter(({ dam, sire }) => dam?.id === animal || sire?.id === animal);

/** @param {KeptPairing} pairing
    @param {string} animal */
export function withWhom({ dam, sire }, animal) {
  const mate = dam?.id === animal ? sire : dam;
  return mate ? `with ${mate.title}` : "with an animal you may not see";
}

/** @param {KeptPairing} pairing */
export const titled = ({ dam, sire }) =>
  [dam, sire].map((one) => one?.title ?? "an animal you may not see").join(" with ");

/** The events that can come, each [word, words, what is counted, caution].
    @param {KeptPairing} pairing */
export const offered = ({ mode }) => SEASON.filter(([what]) => OFFERED[mode].includes(what));

/** The day it is where the phone is, as the log writes days.
    @param {number} now milliseconds */
export function dayOf(now) {
  const here = new Date(now);
  const two = (/** @type {number} */ number) => String(number).padStart(2, "0");
  return `${here.getFullYear()}-${two(here.getMonth() + 1)}-${two(here.getDate())}`;
}

/** What the keeper noted of that day, each once: here, unless it was refused, or as the record has it;
    without what was withdrawn here. `record`: what is here of it.
    @param {KeptPairing} pairing
    @param {Stored[]} outbox
    @param {string} on
    @returns {{ id: string, what: string, record?: Stored }[]} */
export function notesOn(pairing, outbox, on) {
  const about = outbox.filter(({ fact, state }) =>
    fact.about === pairing.id && !["refused", "aside"].includes(state)
  );
  const withdrawn = new Set(about.map(({ fact }) => fact.body.noted));
  const here = about
    .filter(({ fact }) => fact.kind === "season_noted" && fact.body.on === on)
    .map((record) => ({ id: record.id, what: record.fact.body.what, record }));
  const known = new Set(here.map(({ id }) => id));
  const there = pairing.noted
    .filter((one) => one.on === on && !known.has(one.id ?? ""))
    .map(({ id = "", what }) => ({ id, what }));
  return [...here, ...there].filter(({ id }) => !withdrawn.has(id));
}

/** Whether the keeper noted that of that day.
    @param {KeptPairing} pairing
    @param {Stored[]} outbox
    @param {string} what
    @param {string} on */
export const isNoted = (pairing, outbox, what, on) =>
  notesOn(pairing, outbox, on).some((one) => one.what === what);

/** What is noted oftenest: one tap each, beside the animal.
    @param {KeptPairing} pairing */
export const often = (pairing) => offered(pairing).filter(([what]) => OFTEN.includes(what));

const OFTEN = ["put_together", "seen_together", "apart", "laid", "born"];

/** The body of `season_noted`; null where what was typed is no count. What is empty was not counted.
    @param {string} what
    @param {string} on
    @param {Record<string, string>} typed
    @returns {Record<string, unknown> | null} */
export function noteBody(what, on, typed) {
  /** @type {Record<string, unknown>} */
  const made = { what, on };
  for (const [name, text] of Object.entries(typed)) {
    const tidy = text.trim().replace(",", ".");
    if (!tidy) continue;
    const fits = name === "celsius" ? /^[1-4]\d(\.\d)?$/ : /^(\d{1,2}|1\d\d|200)$/;
    if (!fits.test(tidy)) return null;
    made[name] = name === "celsius" ? tidy : Number(tidy);
  }
  return made;
}

/** What was seen, as a line begins with it.
    @param {string} what */
export function eventWord(what) {
  const words = SEASON.find(([one]) => one === what)?.[1] ?? what;
  return words[0].toUpperCase() + words.slice(1);
}

/** One line that says what the note says.
    @param {Record<string, unknown>} made */
export function noteLine({ what, on, ...counted }) {
  const counts = Object.entries(counted).map(([name, value]) => `${COUNTS[name]}: ${value}`);
  return [`${eventWord(String(what))} on ${on}`, ...counts].join(", ");
}
