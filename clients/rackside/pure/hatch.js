/* Hatch day: what the young of a clutch share, each of them, and the facts they become. Values in,
   values out. */

import { blank, body, grams, line } from "./call.js";
import { title } from "./search.js";
import { CAUTIONS, CONCLUDED_OF_EVERTED, LIMITS } from "./words.js";

export const MOST = 100; // young in one clutch, as on the pages
const LONGEST_CODE = 40; // characters, as the server takes them
const DAY = 86_400_000;

/** The kinds of fact about each, in the order in which they must be taken.
    @type {YoungFact[]} */
export const KINDS = ["animal_registered", "identifier_assigned", "husbandry_noted", "call_made"];

/** What it is called here: eggs hatch, live young are born.
    @param {KeptPairing["mode"]} mode */
export const hatchedWord = (mode) =>
  ({ eggs: "hatched", live: "born", unknown: "hatched or born" })[mode];

/** A day as its reader writes days.
    @param {string} day */
export const dayInWords = (day) =>
  new Intl.DateTimeFormat(undefined, { dateStyle: "medium" }).format(new Date(`${day}T12:00`));

// --- codes

/** A code by its pattern, # for each digit of the number.
    @param {string} pattern
    @param {number} number */
export const numbered = (pattern, number) =>
  pattern.replace(/#+/g, (run) => String(number).padStart(run.length, "0"));

/** The number after the highest that was given by this pattern; 1 where none was.
    @param {string} pattern
    @param {Iterable<string>} codes */
export function nextNumber(pattern, codes) {
  const [before, after] = halves(pattern);
  let most = 0;
  for (const code of codes) {
    if (code.length <= before.length + after.length) continue;
    if (!code.startsWith(before) || !code.endsWith(after)) continue;
    const number = code.slice(before.length, code.length - after.length);
    if (/^\d{1,5}$/.test(number)) most = Math.max(most, Number(number));
  }
  return most + 1;
}

/** @param {string} pattern */
function halves(pattern) {
  const run = /#+/.exec(pattern)?.[0] ?? "";
  const at = run ? pattern.indexOf(run) : pattern.length;
  return [pattern.slice(0, at), pattern.slice(at + run.length)];
}

/** Patterns to choose from without typing. First that in which young of these parents, or of the
    whole season, were numbered this year; else one after a parent; then those that were used last.
    @param {Animal[]} own
    @param {{ parents: { id: string | null, title?: string }[], hatched: string }} of */
export function patterns(own, { parents, hatched }) {
  const year = hatched.slice(0, 4);
  const newest = own.toSorted((a, b) => (a.id < b.id ? 1 : -1)); // ids tell when they were made
  const ids = parents.flatMap(({ id }) => id ?? []);
  const titles = new Map(own.map((one) => [one.id, title(one)]));
  const ofParent = (/** @type {Animal} */ { sire, dam }, /** @type {string} */ pattern) =>
    [sire, dam].some((id) => id && pattern.startsWith(titles.get(id) ?? "#"));
  const isOurs = (/** @type {Animal} */ { sire, dam }) =>
    [sire, dam].some((id) => id && ids.includes(id));
  const begun = newest.filter((one) => one.hatched?.slice(0, 4) === year).flatMap((one) =>
    stem(one).filter((pattern) => isOurs(one) || !ofParent(one, pattern))
  );
  const named = parents.flatMap((one) => one.title ? [`${one.title}-${year.slice(2)}-##`] : []);
  const found = [...begun.slice(0, 1), ...named.slice(0, 1), ...begun, ...newest.flatMap(stem)];
  return [...new Set(found)].filter((one) => one.length <= LONGEST_CODE).slice(0, 4);
}

/** @param {Animal} animal */
function stem({ identifiers }) {
  return identifiers.flatMap(({ scheme, code }) => {
    const found = scheme === "tag" ? /^(.*\D)(\d{1,5})$/.exec(code) : null;
    return found ? [found[1] + "#".repeat(Math.max(2, found[2].length))] : [];
  });
}

// --- the sitting

/** A sitting as it begins; ids by `newId`.
    @param {Pick<Sitting, "by" | "begun" | "collection" | "species" | "hatched" | "mode" | "dam" | "sire" | "pattern">} shared
    @param {string[]} codes
    @param {() => string} newId
    @returns {Sitting} */
export const begin = (shared, codes, newId) => ({
  id: newId(),
  ...shared,
  told: "",
  held_by: "",
  sureness: "",
  keyed: null,
  young: codes.map((code) => oneOfThem({ animal: newId(), code }, newId)),
});

/** A sitting on young that are registered already.
    @param {Pick<Sitting, "by" | "begun" | "mode">} whose
    @param {Animal[]} animals
    @param {() => string} newId
    @returns {Sitting} */
export const reopen = (whose, animals, newId) => ({
  id: newId(),
  ...whose,
  collection: animals[0].collection?.id ?? "",
  species: animals[0].species.key,
  hatched: animals[0].hatched ?? "",
  dam: null,
  sire: null,
  pattern: "",
  told: "",
  held_by: "",
  sureness: "",
  keyed: null,
  young: animals.map((one) => oneOfThem({ animal: one.id, code: title(one), known: true }, newId)),
});

/** @param {{ animal: string, code: string, known?: boolean }} one
    @param {() => string} newId
    @returns {Young} */
export const oneOfThem = ({ animal, code, known = false }, newId) => ({
  animal,
  code,
  known,
  grams: "",
  weighed: null,
  seen: "",
  conclusion: "",
  sexed: null,
  photos: [],
  before: [],
  ids: /** @type {Young["ids"]} */ (Object.fromEntries(KINDS.map((kind) => [kind, newId()]))),
});

/** The sitting with one of the young changed.
    @param {Sitting} sitting
    @param {string} animal
    @param {(one: Young) => Young} step
    @returns {Sitting} */
export const withYoung = (sitting, animal, step) => ({
  ...sitting,
  young: sitting.young.map((one) => one.animal === animal ? step(one) : one),
});

/** Weighed, or not any more where nothing is given; what cannot be a weight changes nothing.
    @param {Young} one
    @param {string} text
    @param {Reading} reading
    @returns {Young} */
export function weighed(one, text, reading) {
  const given = grams(text);
  if (text && !given) return one;
  return { ...one, grams: given ?? "", weighed: given ? reading : null };
}

/** What came out, and what is taken to follow from it.
    @param {Young} one
    @param {string} seen
    @param {Reading} reading
    @returns {Young} */
export const sexed = (one, seen, reading) => ({
  ...one,
  seen,
  conclusion: seen ? CONCLUDED_OF_EVERTED[seen][0] : "",
  sexed: seen ? reading : null,
});

/** What speaks against sexing one on that day.
    @param {string} hatched
    @param {string} today
    @param {boolean} [hasShed] whether it was noted that it has shed
    @returns {string[]} */
export function beforeSexing(hatched, today, hasShed = false) {
  const days = Math.round((Date.parse(today) - Date.parse(hatched)) / DAY);
  return [
    ...(days <= LIMITS.yolk_days ? [CAUTIONS.yolk] : []),
    ...(!hasShed && days <= LIMITS.first_shed_days ? [CAUTIONS.first_shed] : []),
  ];
}

// --- what is stated

/** What stands where of one of the young: what was stated on this phone, by kind. What was refused or
    put aside is to be stated anew.
    @param {Young} one
    @param {Map<string, Stored>} outbox by id
    @returns {Partial<Record<YoungFact, Stored>>} */
export const statedOf = ({ ids }, outbox) =>
  Object.fromEntries(KINDS.flatMap((kind) => {
    const found = outbox.get(ids[kind]);
    return found ? [[kind, found]] : [];
  }));

/** @param {Stored | undefined} record */
export const isStated = (record) =>
  record !== undefined &&
  (record.state !== "refused" && record.state !== "aside" || isElsewhere(record));

/** Whether another phone of theirs, which took over the hatch day, stated it first: its id is known.
    @param {Stored | undefined} record */
const isElsewhere = (record) => record?.problem?.code === "id_reused";

/** Whether the log knows of it, or will by what this phone sends.
    @param {Young} one
    @param {Map<string, Stored>} outbox */
export const isRegistered = (one, outbox) =>
  one.known || isStated(outbox.get(one.ids.animal_registered));

/** Ids for what is to be stated anew: those of what was refused or put aside are used up. What was
    refused with its registration is of an animal that does not exist.
    @param {Young} one
    @param {Map<string, Stored>} outbox
    @param {() => string} newId
    @returns {Young} */
export function renewed(one, outbox, newId) {
  const used = (/** @type {string} */ id) => outbox.has(id) && !isStated(outbox.get(id));
  const anew = used(one.ids.animal_registered);
  const renew = (/** @type {string} */ id) => used(id) || (anew && outbox.has(id)) ? newId() : id;
  const photos = one.photos.map(({ file, fact }) => ({ file, fact: renew(fact) }));
  const ids = /** @type {Young["ids"]} */ (
    Object.fromEntries(KINDS.map((kind) => [kind, renew(one.ids[kind])]))
  );
  const gone = [...Object.values(one.ids), ...one.photos.map(({ fact }) => fact)].filter((id) =>
    !Object.values(ids).includes(id) && !photos.some(({ fact }) => fact === id)
  );
  if (!gone.length) return one;
  const animal = anew ? newId() : one.animal;
  return { ...one, ids, photos, animal, before: [...one.before, ...gone] };
}

/** What is still to be stated of one of the young, in the order in which it must be taken: nothing where
    another phone registered it. A photo is of the check that it goes along with, else of the animal.
    @param {Sitting} sitting
    @param {Young} one
    @param {Map<string, Stored>} outbox
    @returns {ToState[]} */
export function toState(sitting, one, outbox) {
  if (isElsewhere(outbox.get(one.ids.animal_registered))) return [];
  const first = [one.weighed, one.sexed].filter((each) => each !== null)
    .sort((a, b) => a.here - b.here)[0] ?? null;
  /** @type {(Omit<ToState, "id" | "kind"> & { kind: YoungFact })[]} */
  const made = [];
  if (!one.known) {
    made.push({
      kind: "animal_registered",
      body: registration(sitting),
      line: `${capital(hatchedWord(sitting.mode))} on ${sitting.hatched}`,
      reading: first,
    }, {
      kind: "identifier_assigned",
      body: { scheme: "tag", code: one.code },
      line: `Tag ${one.code}`,
      reading: first,
    });
  }
  if (one.grams) {
    made.push({
      kind: "husbandry_noted",
      body: { noted: { type: "weight", grams: one.grams } },
      line: `Weight ${one.grams} g`,
      reading: one.weighed,
    });
  }
  if (one.seen) {
    const form = callForm(sitting, one);
    made.push({
      kind: "call_made",
      body: body(form, null),
      line: line(form),
      reading: one.sexed,
    });
  }
  const open = (/** @type {string} */ id) => !isStated(outbox.get(id));
  const facts = made.map((each) => ({ ...each, id: one.ids[each.kind] })).filter(({ id }) =>
    open(id)
  );
  const call = facts.find(({ kind }) => kind === "call_made");
  const photos = one.photos.filter(({ fact }) => open(fact)).map(({ file, fact }, at) => ({
    id: fact,
    kind: /** @type {const} */ ("photo_attached"),
    body: call ? { of: call.id } : {},
    line: call ? `Photo ${at + 1} of the call` : `Photo ${at + 1}`,
    reading: call?.reading ?? null,
    file,
  }));
  return [...facts, ...photos];
}

/** Young of which something was noted on a hatch day and not stated yet.
    @param {Sitting[]} sittings
    @param {Stored[]} records */
export function notStated(sittings, records) {
  const outbox = new Map(records.map((one) => [one.id, one]));
  return sittings.flatMap((held) =>
    held.young.filter((one) => toState(held, one, outbox).some(({ id }) => !outbox.has(id)))
  );
}

/** @param {Sitting} sitting */
function registration({ collection, species, hatched, sire, dam }) {
  return { collection, species, hatched, ...(sire && { sire }), ...(dam && { dam }) };
}

/** The call as its form would have it; whoever could not tell is unsure.
    @param {Sitting} sitting
    @param {Young} one
    @returns {CallForm} */
const callForm = ({ told, held_by, sureness }, { code, seen, conclusion, harm = [] }) => ({
  ...blank({ held_by }),
  method: "eversion",
  answers: { manner: "manual", seen },
  identified: "tag",
  code,
  conclusion,
  harm,
  sureness: conclusion === "undetermined" ? "unsure" : sureness,
  told,
});

/** What keeps the list from being stated, as sentences. `borne`: codes of other animals of theirs.
    @param {Sitting} sitting
    @param {Map<string, Stored>} outbox
    @param {Set<string>} borne */
export function amiss(sitting, outbox, borne) {
  const found = [];
  const codes = new Set();
  for (const one of sitting.young) {
    if (!one.code.trim()) found.push("One of the young has no code.");
    else if (codes.has(one.code)) found.push(`${one.code} is there twice.`);
    else if (!isRegistered(one, outbox) && borne.has(one.code)) {
      found.push(`${one.code} is the code of another of your animals.`);
    }
    codes.add(one.code);
  }
  const checked = sitting.young.some((one) => one.seen && !isStated(outbox.get(one.ids.call_made)));
  if (checked && unanswered(sitting)) {
    found.push("Say how you checked them, and whether anyone had told you their sex.");
  }
  return found;
}

/** What holds for every check of the sitting is asked once, and is not answered beforehand.
    @param {Sitting} sitting */
export const unanswered = ({ told, held_by, sureness }) => !told || !held_by || !sureness;

/** The first of the young, after that one, of which it is so; from the beginning where none follows.
    @param {Sitting} sitting
    @param {(one: Young) => boolean} is
    @param {string} [after] */
export function next({ young }, is, after) {
  const from = young.findIndex(({ animal }) => animal === after) + 1;
  return [...young.slice(from), ...young.slice(0, from)].find(is);
}

// --- young that are registered already

/** Young of one's own of the last year by clutch, the newest first, to be sexed: of one collection,
    species and day, whose parents are the same as far as one is told.
    @param {Animal[]} own those that one sees whole
    @param {number} now milliseconds
    @returns {Animal[][]} */
export function clutches(own, now) {
  /** @type {Map<string, Animal[]>} */
  const found = new Map();
  for (const one of own) {
    const { hatched, collection, species, dam = "", sire = "" } = one;
    if (!hatched || one.ended || now - Date.parse(hatched) > 365 * DAY) continue;
    const key = [hatched, collection?.id, species.key, dam, sire].join();
    found.set(key, [...(found.get(key) ?? []), one]);
  }
  return [...found.values()]
    .map((young) => young.sort((a, b) => title(a).localeCompare(title(b), "en", { numeric: true })))
    .sort(([a], [b]) => (String(a.hatched) < String(b.hatched) ? 1 : -1));
}

/** @param {string[]} codes */
export const span = (codes) =>
  codes.length > 1 ? `${codes[0]} to ${codes[codes.length - 1]}` : codes[0] ?? "";

/** @param {string} text */
const capital = (text) => text[0].toUpperCase() + text.slice(1);
