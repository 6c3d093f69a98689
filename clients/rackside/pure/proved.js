/* What this phone shows of an animal, to be held to the animal's entries, and what came of it. */

import { amiss as disagreements, inOrder } from "../checking/agreeing.js";
import { notWhole } from "../checking/whole.js";
import { fromHex } from "../shared/bytes.js";
import { canonical } from "../shared/canonical.js";
import { commitment } from "./leaf.js";
import { title } from "./search.js";
import { TOLD } from "./told.js";

const FORMAT = "scalewitness record and proof, version 1";
const MOST = 5; // sentences kept of one animal
const MANY = 500; // animals
const HOUR = 3_600_000;

/** What of an animal seen whole follows from its entries, as the modules of the pages take it.
    @param {Animal} animal
    @returns {Shown[]} */
export function shown({ standing, ...animal }) {
  const { condition } = animal;
  const label = title(animal);
  const at = { about: animal.id };
  const codes = animal.identifiers.map(({ scheme, code }) => [scheme, code]);
  const holds = {
    codes: codes.sort(inOrder),
    species: animal.species.key,
    hatched: animal.hatched ?? null,
    ended: animal.ended?.why ?? null,
    weight: condition.grams,
    weighed: time(condition.weighed_at),
    fed: time(condition.fed_at),
    shed: condition.shed,
    health: condition.health ?? null,
  };
  const { position = null, p_male, p_male_pessimistic } = standing ?? {};
  const stated = standing && { holds: { label: standing.label, p_male, p_male_pessimistic } };
  return [
    { ...at, kind: "sheet", label, holds },
    { ...at, kind: "standing", label: `The standing of ${label}`, position, ...stated },
  ];
}

/** As an entry writes it.
    @param {string | null} text */
const time = (text) => (text === null ? null : new Date(text).toISOString());

/** Whether an animal was found to fit as it is kept here now.
    @param {Animal} animal
    @param {Proved | undefined} proved */
export const isCurrent = (animal, proved) =>
  proved !== undefined && JSON.stringify(shown(animal)) === JSON.stringify(proved.shown);

/** Milliseconds after which so many animals are asked for again although nothing of them changed
    here: an entry that is kept back changes nothing. Of a breeder's thousands the answers are tens of
    megabytes (our judgement). */
export const againAfter = (/** @type {number} */ animals) => (animals > MANY ? 24 : 1) * HOUR;

/** What does not fit of an animal, as sentences. `said`: facts of one's own, accepted, about it.
    @param {Animal} animal
    @param {RecordFound} record
    @param {Said[]} said
    @param {number} position
    @param {KeptFact[] | null} facts what its page tells; null of an animal that is not one's own */
export function unfit(animal, record, said, position, facts = null) {
  const lines = [...shown(animal), ...(facts ? told(animal, facts, position) : [])];
  const found = [
    ...notWhole([record], lines),
    ...disagreements(lines, new Map([[animal.id, record]]), position),
  ];
  return [...found.map(({ text }) => text), ...unsaid(record, said, position)].slice(0, MOST);
}

/** Each fact that is kept of an animal, and that they are all there are.
    @param {Animal} animal
    @param {KeptFact[]} facts
    @param {number} position
    @returns {Shown[]} */
function told(animal, facts, position) {
  const about = animal.id;
  const label = title(animal);
  const gone = new Set(
    facts.filter(({ entry }) => entry.kind === "call_withdrawn").map(({ entry }) =>
      entry.body.call
    ),
  );
  const lines = facts.filter((one) => one.position <= position).map(({ position, entry }) => ({
    about,
    position,
    kind: entry.kind,
    label: `${label}: ${entry.kind.replaceAll("_", " ")}`,
    id: entry.id,
    by: entry.by,
    at: entry.at,
    body: entry.body,
    ...(entry.kind === "call_made" && { withdrawn: gone.has(entry.id) }),
  }));
  return [{ about, label, kind: "record", all: TOLD }, ...lines];
}

/** What is shown as the text of these facts and is not what their entries commit to, as sentences. Text
    that is gone was erased.
    @param {KeptFact[]} facts */
export async function otherTexts(facts) {
  const found = await Promise.all(facts.map(async ({ position, entry, texts, salts }) => {
    const wrong = [];
    for (const [field, text] of Object.entries(texts)) {
      const salt = salts[field];
      const made = salt === undefined ? null : await commitment(text, fromHex(salt));
      if (entry.body[field] !== made) {
        wrong.push(
          `the ${field} shown at position ${position} is not the one that its entry commits to`,
        );
      }
    }
    return wrong;
  }));
  return found.flat().slice(0, MOST);
}

/** One's own facts that are not in the record as they were sent from here.
    @param {RecordFound} record
    @param {Said[]} said
    @param {number} position */
const unsaid = ({ entries }, said, position) =>
  said.filter((one) => one.position <= position).filter(({ fact, position }) => {
    const entry = entries.get(position);
    const same = entry?.id === fact.id && entry.kind === fact.kind && entry.at === fact.at;
    return !same || canonical(entry.body) !== canonical(fact.body);
  }).map(({ fact, position }) =>
    `Your own entry (${
      fact.kind.replaceAll("_", " ")
    }, position ${position}) is not in the log as this phone sent it.`
  );

/** The position as of which all of these animals were found to fit as they are kept here, and how
    many entries they have that one may not read; null where one was not, or there are none.
    @param {Animal[]} animals
    @param {Map<string, Proved>} proved */
export function asOf(animals, proved) {
  const found = animals.map((one) => isCurrent(one, proved.get(one.id)) && proved.get(one.id));
  const fits = found.filter((one) => one && !one.amiss.length);
  if (!fits.length || fits.length < animals.length) return null;
  const of = /** @type {Proved[]} */ (fits);
  return {
    position: Math.min(...of.map(({ position }) => position)),
    hidden: of.reduce((sum, { hidden }) => sum + hidden, 0),
  };
}

/** What came of it, with what did not fit before: that stays until its keeper sets it aside.
    @param {Proved} now
    @param {Proved | undefined} before
    @returns {Proved} */
export function joined(now, before) {
  const { was, ...last } = before ?? { amiss: [], was: null };
  if (now.amiss.length) return { ...now, was: null };
  return { ...now, was: "id" in last && last.amiss.length ? last : was };
}

/** What does not fit, or did not and was not set aside yet.
    @param {Proved} proved
    @returns {Unfit | null} */
export const unfitNow = (proved) => (proved.amiss.length ? proved : proved.was);

/** What does not fit, as the file that a page saves too: `scalewitness verify` checks it.
    @param {Unfit} proved
    @param {{ service: string, key: string, mapKey: unknown }} by */
export const savedRecord = ({ at, shown, position, proofs, amiss }, { service, key, mapKey }) => ({
  format: FORMAT,
  saved: new Date(at).toISOString(),
  service,
  log_keys: [key],
  map_key: mapKey,
  seen: position,
  shown,
  before: null,
  proofs,
  amiss: amiss.map((text) => ({ about: shown[0].about, position: null, text })),
});
