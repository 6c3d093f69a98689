/* What was stated on this phone stays its keeper's to change until it is first sent: which entries
   that is, and which go together. Values in, values out. */

import { left } from "./waiting.js";

/** For so long after it was stored nothing is sent: a slip is seen at once, or hardly ever (common
    practice, no source). */
const UNDO = 10; // seconds

/** Stored as of now: sending waits for as long as it can be undone.
    @param {Stored} one
    @param {number} now
    @returns {Stored} */
export const withUndo = (one, now) =>
  isUntried(one) ? { ...one, rest: { from: now, seconds: UNDO } } : one;

/** Whether nobody else can have it: it never left, neither to the server nor in a file.
    @param {Stored} one */
const isHere = (one) => !one.tries && !one.carried;
/** Whether it can be changed or put aside.
    @param {Stored} one */
export const isUntried = (one) => one.state === "saved" && isHere(one);
/** Whether it was put aside before it was ever sent: it can be taken up again.
    @param {Stored} one */
export const isShelved = (one) => one.state === "aside" && isHere(one);
/** Whether it went out and nothing came back: the log may hold it or not.
    @param {Stored} one */
export const isInDoubt = (one) => ["saved", "sent"].includes(one.state) && !isHere(one);

/** Seconds for which all of them can still be undone; 0 where one went, or is gone.
    @param {Stored[]} records
    @param {string[]} ids
    @param {number} now */
export function undoable(records, ids, now) {
  const found = records.filter(({ id }) => ids.includes(id));
  if (!ids.length || found.length < ids.length || !found.every(isUntried)) return 0;
  return Math.min(...found.map(({ rest }) => left(rest, now)));
}

/** What was stored last and can still be undone, by its ids.
    @param {Stored[]} records
    @param {number} now */
export function lastUndoable(records, now) {
  const fresh = records.filter((one) => isUntried(one) && left(one.rest, now) > 0);
  const last = Math.max(...fresh.map(({ rest }) => rest?.from ?? 0));
  return fresh.filter(({ rest }) => rest?.from === last).map(({ id }) => id);
}

/** What was stated with it, in that order: a call with its weight and its photos.
    @param {Stored[]} records
    @param {Stored} one */
export const groupOf = (records, one) =>
  inOrder(
    records.filter(({ id, call, by }) => by === one.by && (id === one.id || call === one.call)),
  );

/** @param {Iterable<Stored>} records */
const inOrder = (records) => [...records].sort((a, b) => a.order - b.order);

/** They and whatever here rests on them: what is said of an animal before it is registered falls
    with that. In the order they were made.
    @param {Stored[]} records
    @param {Stored[]} group */
export function withDependents(records, group) {
  const found = new Map(group.map((one) => [one.id, one]));
  const open = records
    .filter((one) => one.by === group[0].by && isUntried(one))
    .map((one) => ({ one, says: [one.fact.about, JSON.stringify(one.fact.body)].join() }));
  for (let size = 0; size < found.size;) {
    size = found.size;
    const began = [...found.values()].flatMap(({ id, fact }) =>
      BEGINS.includes(fact.kind) ? [id, fact.about] : [id]
    );
    for (const { one, says } of open) {
      if (began.some((id) => says.includes(id))) found.set(one.id, one);
    }
  }
  return inOrder(found.values());
}

/** Facts before which there is nothing of what they are about. */
const BEGINS = ["animal_registered", "pairing_planned"];

/** The one of a group that stands for it: which has a form, or which the others belong to.
    @param {Stored[]} group */
export const mainOf = (group) =>
  group.find(({ form }) => form) ?? group.find(({ id, call }) => id === call) ?? group[0];

/** The form that a group was made from, to be filled in further: its weight and photos with it, and
    the time of the check, which an edit does not move.
    @param {Stored[]} group
    @param {PhotoFile[]} files
    @returns {CallForm | null} */
export function formOf(group, files) {
  const { form, fact, reading = null, look = null } = mainOf(group);
  if (!form) return null;
  const weight = group.find((one) => one.fact.body.noted?.type === "weight");
  const photos = group.flatMap(({ id }) => files.find((one) => one.id === id)?.bytes ?? []);
  return {
    ...form,
    grams: weight?.fact.body.noted.grams ?? "",
    photos: photos.length ? photos : form.photos ?? [],
    noted: { at: fact.at, reading, look },
  };
}
