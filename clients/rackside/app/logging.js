/* A filled-in form becomes facts on this phone: signed, stored, then sent. */

import { reading as readNow } from "../net/clock.js";
import { newId } from "../net/keys.js";
import { hex, sha256 } from "../shared/bytes.js";
import { body, grams, line, name, note, whose } from "../pure/call.js";
import { corrected, holds, isOff, lookFor } from "../pure/clock.js";
import { withNote } from "../pure/leaf.js";
import { aside, needsYou } from "../pure/outbox.js";
import { title } from "../pure/search.js";
import { groupOf, mainOf } from "../pure/undo.js";
import { YOUR_WORD } from "../pure/words.js";
import { file } from "../store/photos.js";
import { OWN, state } from "./state.js";
import { record, store } from "./stating.js";
import { announce } from "./shell.js";

/** What this phone's clock says, to be kept with what is noted now. */
export const readingNow = () => ({ ...readNow(), before: state.clock });

/** The look that a form's time is to be corrected by, if any. `before`: when what it replaces was
    noted, as its time stays that of the check.
    @param {Reading | null} reading
    @param {WhenNoted | null} before */
export function lookAt(reading, before) {
  const look = before ? lookOf(before) : state.clock;
  const fits = before ? Boolean(look) : reading !== null && holds(reading, look);
  return fits && isOff(look) ? look : null;
}

/** When a stored one was noted.
    @param {Stored} one
    @returns {WhenNoted} */
export const notedOf = ({ fact, reading, look = null }) => ({ at: fact.at, reading, look });

/** The look that a stored one's time can be corrected by; null where that is unknown.
    @param {Pick<WhenNoted, "reading" | "look">} one */
export const lookOf = (one) => (one.reading ? lookFor(one.reading, one.look ?? state.clock) : null);

/** Stores the call, and a weight if one was taken; `refused` is the call it replaces. Returns
    when it is on the disk, and goes on to `then`.
    @param {CallForm} form
    @param {{ visit: KeptVisit, animal: Animal, refused: Stored | null, then: string }} where */
export async function saveForm(form, { visit, animal, refused, then }) {
  const { at, reading, more } = timed(form, refused);
  const fact = (/** @type {string} */ kind, /** @type {Fact["body"]} */ made) => ({
    id: newId(),
    kind,
    at,
    about: animal.id,
    body: { ...made, ...more },
  });
  const salt = crypto.getRandomValues(new Uint8Array(32));
  const by = whose(form) ? reportedOf(name(form)) : null;
  const made = body(form, visit === OWN ? null : visit.id, by?.id);
  const call = await withNote(fact("call_made", made), note(form), salt);
  const edit = `#/log/${visit.id}/${animal.id}`;
  const shown = { visit: visit.id, title: title(animal), edit };
  /** @type {Stored[]} */
  const records = [];
  /** @param {Fact} made
      @param {string} text
      @param {Partial<Made> & { place: number }} more */
  const keep = async (made, text, more) =>
    records.push(
      await record(made, {
        shown: { ...shown, line: text },
        form: null,
        reading,
        call: call.id,
        ...more,
      }),
    );
  const weighed = grams(form.grams);
  if (weighed) {
    const weight = fact("husbandry_noted", { noted: { type: "weight", grams: weighed } });
    await keep(weight, `Weight ${weighed} g`, { place: 0 });
  }
  await keep(call, line(form), { form: { ...form, photos: [] }, place: 1 });
  const files = [];
  for (const [number, bytes] of (form.photos ?? []).entries()) {
    const photo = fact("photo_attached", { ...(await fingerprint(bytes)), of: call.id });
    await keep(photo, `Photo ${number + 1} of the call`, { file: "waiting", place: 2 + number });
    files.push({ id: photo.id, bytes });
  }
  const given = refused ? withIt(refused) : [];
  await store([...records, ...given.map((one) => aside(one, call.id))], {
    files,
    draft: animal.id,
    unneeded: given.map((one) => one.id),
    person: by?.isNew ? { id: by.id, name: by.name } : null,
  });
  announce(
    `${title(animal)}: saved here.${by ? ` ${YOUR_WORD}` : ""}`,
    then,
    { undo: records.map(({ id }) => id) },
  );
}

/** Stores what was seen of a pairing today, or that a note of it was not so. Gives its id; returns when
    it is on the disk.
    @param {KeptPairing} pairing
    @param {{ kind: "season_noted" | "season_note_withdrawn", made: Fact["body"], line: string, title: string }} note */
export async function saveNote(pairing, { kind, made, line, title }) {
  const reading = readingNow();
  const at = new Date(reading.here).toISOString();
  const fact = { id: newId(), kind, at, about: pairing.id, body: made };
  const shown = { visit: OWN.id, title, line };
  const more = { shown, form: null, reading, call: fact.id, place: 0 };
  await store([await record(fact, more)]);
  return fact.id;
}

/** Who has this name: whoever was named so before, else somebody new.
    @param {string} name */
function reportedOf(name) {
  const known = state.named.find((one) => one.name === name);
  return { id: known?.id ?? newId(), name, isNew: !known };
}

/** When it was: as the examiner says, else what the clock said at the check, put right where it is
    known to have been off and they left the tick in place.
    @param {CallForm} form
    @param {Stored | null} refused */
function timed(form, refused) {
  if (form.when) return { at: new Date(form.when).toISOString(), reading: null, more: {} };
  const before = refused ? notedOf(refused) : form.noted;
  const reading = before ? before.reading : readingNow();
  if (!reading) return { at: /** @type {WhenNoted} */ (before).at, reading: null, more: {} };
  const look = form.correct ? lookAt(reading, before ?? null) : null; // never without the tick having been shown
  if (!look) return { at: new Date(reading.here).toISOString(), reading, more: {} };
  const { at, ...more } = corrected(reading, look);
  return { at, reading, more };
}

/* Kinds that say of their time that it was put right; of others it is the time they claim. */
const SAYS_SO = [
  "call_made",
  "husbandry_noted",
  "photo_attached",
  "season_noted",
  "season_note_withdrawn",
];

/** The refused one that those refused with it go with: an animal's registration, a call.
    @param {Stored} one */
export function leaderOf(one) {
  const main = mainOf(groupOf(state.outbox, one));
  return needsYou(main) ? main : one;
}

/** A refused one, and what was refused with it, once more with the time put right: signed anew,
    under ids of their own. What was refused is put aside.
    @param {Stored} one */
export async function sendCorrected(one) {
  const look = /** @type {Look} */ (lookOf(one));
  if (!state.outbox.some((each) => each.id === one.id && needsYou(each))) return; // done in another tab
  const group = withIt(leaderOf(one)).sort((a, b) => a.order - b.order);
  const ids = new Map(group.map(({ id }) => [id, newId()]));
  const records = [];
  const files = [];
  for (const [place, old] of group.entries()) {
    const { at, ...more } = corrected(/** @type {Reading} */ (old.reading), look);
    const made = { ...old.fact.body, ...(SAYS_SO.includes(old.fact.kind) && more) };
    if (made.of) made.of = ids.get(made.of) ?? made.of;
    const fact = { ...old.fact, id: /** @type {string} */ (ids.get(old.id)), at, body: made };
    records.push(
      await record(fact, { ...old, place, call: ids.get(old.call) ?? old.call }),
      aside(old, fact.id),
    );
    const held = old.file && await file(old.id);
    if (held) files.push({ ...held, id: fact.id });
  }
  await store(records, { files, unneeded: group.map(({ id }) => id) });
}

/** A refused one and what goes with it: a call's photos, a weight refused with it, and all of an
    animal that was not registered.
    @param {Stored} one */
export function withIt(one) {
  const isFirst = one.fact.kind === "animal_registered";
  const waits = (/** @type {Stored} */ other) =>
    other.state === "saved" && (isFirst || other.fact.body.of);
  const along = (/** @type {Stored} */ other) =>
    other.id !== one.id && (needsYou(other) || waits(other)) &&
    [other.fact.body.of, other.call].includes(one.id);
  return [one, ...state.outbox.filter(along)];
}

/** What a photo's fact says of its file.
    @param {ArrayBuffer} bytes */
export async function fingerprint(bytes) {
  return { sha256: hex(await sha256(new Uint8Array(bytes))), size: bytes.byteLength };
}
