/* A hatch day becomes facts on this phone: signed, stored, then sent. */

import { newId } from "../net/keys.js";
import { renewed, toState } from "../pure/hatch.js";
import { aside } from "../pure/outbox.js";
import { isBlind } from "../pure/sight.js";
import { isShelved } from "../pure/undo.js";
import { all, some } from "../store/db.js";
import { change, sitting, sittings } from "../store/sittings.js";
import { fingerprint, readingNow } from "./logging.js";
import { asSeen, changed, now, OWN, ownAnimals, seasonTold, state } from "./state.js";
import { record, store } from "./stating.js";

/** @type {ToState["kind"][]} */
const KINDS = [
  "animal_registered",
  "identifier_assigned",
  "husbandry_noted",
  "call_made",
  "photo_attached",
];

export const keeper = () => state.session?.keeper ?? "";
/** What was stated on this phone, by id. */
export const outboxById = () => new Map(state.outbox.map((one) => [one.id, one]));

/** The sitting as it stands on the disk, if it is this keeper's.
    @param {string} id */
export const sittingOf = (id) => sitting(id, keeper());

/** Own animals that are seen whole: of a parent or young that one is to check blind nothing is said. */
export const seenWhole = async () => (await ownAnimals()).filter((one) => !isBlind(one));

/** Pairings of about this year of which one is told both, that of this year first: none with an animal
    that one is to check blind, also where the server's list of them is still to come. */
export async function pairingsTold() {
  const year = new Date(now()).getFullYear();
  const away = (/** @type {KeptPairing} */ { season }) => Math.abs(season - year);
  const blind = new Set(asSeen(await all("animals")).filter(isBlind).map(({ id }) => id));
  return seasonTold()
    .filter((one) => away(one) <= 1)
    .filter(({ dam, sire }) => dam && sire && !blind.has(dam.id) && !blind.has(sire.id))
    .sort((a, b) => away(a) - away(b));
}

/** Codes that animals of theirs bear, are to bear by what waits, or have on another hatch day. `but`:
    a sitting whose own do not count. */
export async function codesTaken(but = "") {
  const begun = await sittings(keeper());
  const mine = new Set(begun.find(({ id }) => id === but)?.young.map(({ animal }) => animal));
  const borne = (await ownAnimals()).filter(({ id }) => !mine.has(id));
  const stated = state.outbox.filter(({ fact, state: is }) =>
    fact.kind === "identifier_assigned" && is !== "aside" && !mine.has(fact.about)
  );
  return new Set([
    ...borne.flatMap(({ identifiers }) => identifiers.map(({ code }) => code)),
    ...stated.map(({ fact }) => fact.body.code),
    ...begun.filter(({ id }) => id !== but).flatMap(({ young }) => young.map(({ code }) => code)),
  ]);
}

/** Changes a sitting as it stands on the disk now, and tells every tab.
    @param {string} id
    @param {(held: Sitting) => Sitting} step
    @param {{ files?: PhotoFile[], unneeded?: string[] }} [more] */
export async function revise(id, step, more) {
  await change(id, step, more);
  await changed();
}

/** States all of a sitting that is still to be stated, kind by kind, in one go. Gives the ids of what
    was stored: none where another tab was first. Returns when it is on the disk.
    @param {string} id
    @returns {Promise<string[]>} */
export async function stateAll(id) {
  const renew = (/** @type {Young} */ one) => renewed(one, outboxById(), newId);
  await change(id, (held) => ({ ...held, young: held.young.map(renew) })); // both tabs have the same ids
  const held = await sittingOf(id);
  if (!held) return [];
  const outbox = outboxById();
  const made = held.young.flatMap((one) =>
    toState(held, one, outbox).map((fact) => ({ one, fact, call: groupOf(held, one, outbox) }))
  ).sort((a, b) => KINDS.indexOf(a.fact.kind) - KINDS.indexOf(b.fact.kind));
  const kept = new Map(
    (await some("photos", made.flatMap(({ fact }) => fact.file ?? []))).map((one) => [one.id, one]),
  );
  const reading = readingNow();
  const records = [];
  const files = [];
  for (const [place, { one, fact, call }] of made.entries()) {
    const bytes = kept.get(fact.file ?? "")?.bytes;
    if (fact.file && !bytes) continue; // cleared by the system: there is nothing to attach
    if (bytes) files.push({ id: fact.id, bytes });
    const said = bytes ? { ...await fingerprint(bytes), ...fact.body } : fact.body;
    records.push(await stated(held, one, { ...fact, body: said }, { call, place, reading }));
  }
  return await storedOnce(records, files, usedUp(held));
}

/** @param {Sitting} held
    @param {Young} one
    @param {ToState} fact
    @param {{ call: string, place: number, reading: Reading }} how */
function stated(held, one, { id, kind, body, line, reading, file }, how) {
  const read = reading ?? how.reading;
  const at = new Date(read.here).toISOString();
  return record({ id, kind, at, about: one.animal, body }, {
    shown: {
      visit: OWN.id,
      title: one.code,
      line,
      edit: `#/hatch/${held.id}/${one.animal}`,
    },
    form: null,
    reading: read,
    call: how.call,
    place: how.place,
    ...(file && { file: "waiting" }),
  });
}

/** What it is sent along with: its registration until that is in, then its call.
    @param {Sitting} held
    @param {Young} one
    @param {Map<string, Stored>} outbox */
function groupOf(held, one, outbox) {
  const registered = one.known || outbox.get(one.ids.animal_registered)?.state === "accepted";
  if (!registered) return one.ids.animal_registered;
  const made = toState(held, one, outbox);
  return (made.find(({ kind }) => kind === "call_made") ?? made[0])?.id ?? one.animal;
}

/** What was refused or put aside before, each with the registration of the young it was of.
    @param {Sitting} held */
const usedUp = (held) =>
  held.young.flatMap((one) =>
    state.outbox.filter(({ id }) => one.before.includes(id)).map((old) => ({
      old,
      anew: one.ids.animal_registered,
    }))
  );

/** All of it, or nothing where another tab stored any of it. What it is instead of is put aside, or
    dropped where it was never sent.
    @param {Stored[]} records
    @param {PhotoFile[]} files
    @param {{ old: Stored, anew: string }[]} before */
async function storedOnce(records, files, before) {
  const once = records.map(({ id }) => id);
  if (!once.length) return [];
  const resting = before.filter(({ old }) => ["refused", "saved"].includes(old.state));
  const instead = before.filter(({ old }) => isShelved(old)).map(({ old }) => old.id);
  try {
    const old = resting.map(({ old, anew }) => aside(old, anew));
    await store([...records, ...old], { files, once, instead });
  } catch (fault) {
    if (/** @type {Error} */ (fault).name !== "ConstraintError") throw fault;
    await changed();
    return [];
  }
  return once;
}
