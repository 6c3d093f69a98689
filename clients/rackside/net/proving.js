/* Holds every animal that this phone sees whole to the log: these entries, all of them and no others,
   and what is shown beside them follows from them. The entries come with the proofs and are not
   kept. The command's `whole.py` does the same. */

import { whyNot } from "../checking/ed25519.js";
import { recordIn } from "../checking/stated.js";
import { Refused as Unfit } from "../shared/bytes.js";
import { againAfter, isCurrent, otherTexts, shown, unfit } from "../pure/proved.js";
import { all } from "../store/db.js";
import { isBlind } from "../pure/sight.js";
import { factsKept } from "../store/facts.js";
import { known } from "../store/log.js";
import { keepProved } from "../store/proved.js";
import { newId } from "./keys.js";
import { isContinued } from "./log.js";
import { proveOwn } from "./own_entries.js";
import { answerOf, statedIn } from "./proofs.js";

const AT_ONCE = 50; // animals asked for together
const ATTEMPTS = 3; // what came in between the feed and the proof is in the one and not in the other
const UNFIT_EVERY = 60_000; // milliseconds

/** Asks for what changed here since it was found to fit, and for all that has not been asked for
    in a while. Whether the log may go on being relied on: false once an alarm was raised. `fetch`
    brings what is new. Throws Unreachable or Refused.
    @param {Session} session
    @param {AbortSignal} signal
    @param {{ fetch: () => Promise<unknown>, changed: () => unknown }} how */
export async function prove(session, signal, { fetch, changed }) {
  if (await whyNot()) return true;
  const fed = (await known())?.size ?? 0; // as looked at before the feed was read: it has these
  let due = await unproved(Date.now());
  for (let attempt = 1; due.length; attempt += 1) {
    /** @type {string[]} */
    const failed = [];
    for (let at = 0; at < due.length; at += AT_ONCE) {
      const batch = due.slice(at, at + AT_ONCE);
      const found = await proofOf(session, signal, batch, attempt === ATTEMPTS);
      if (found === null) return false;
      failed.push(...found);
      await changed();
    }
    if (!failed.length || attempt === ATTEMPTS) break;
    await fetch();
    const again = new Set(failed);
    due = (await whole()).filter(({ id }) => again.has(id));
  }
  return await proveOwn(session, signal, changed, fed);
}

const whole = async () => (await all("animals")).filter((one) => !isBlind(one));

/** @param {number} now */
async function unproved(now) {
  const proved = new Map((await all("proved")).map((one) => [one.id, one]));
  const animals = await whole();
  const isFresh = (/** @type {KeptAnimal} */ animal) => {
    const found = proved.get(animal.id);
    const every = found?.amiss.length ? UNFIT_EVERY : againAfter(animals.length);
    return found && Math.abs(now - found.at) < every && isCurrent(animal, found);
  };
  return animals.filter((one) => !isFresh(one));
}

/** Asks for the proofs of a batch. Gives the ids of those that do not fit; what came of these is
    kept only the `last` time. Null: the checkpoint is an alarm.
    @param {Session} session
    @param {AbortSignal} signal
    @param {KeptAnimal[]} batch
    @param {boolean} last
    @returns {Promise<string[] | null>} */
async function proofOf(session, signal, batch, last) {
  const before = await known();
  const ids = batch.map(({ id }) => id);
  if (before === null) return []; // its keeper just set an alarm aside: the next look comes first
  const answer = await answerOf(session, signal, ids);
  if (answer === null) return last ? await contradicted(session, signal, batch) : ids;
  if (!(await isContinued(session, before, answer.checkpoint, signal, "", answer))) return null;
  const said = await saidHere(session);
  const { found, key } = await judged(batch, answer, said, signal);
  const failed = found.filter(({ amiss }) => amiss.length).map(({ id }) => id);
  await keepProved(session, last ? found : found.filter(({ amiss }) => !amiss.length), key);
  return failed;
}

/** Finds out for which of the animals the server can give no proof: the others are held to theirs.
    Where it can give none of anything, it is each of them.
    @param {Session} session
    @param {AbortSignal} signal
    @param {KeptAnimal[]} batch
    @returns {Promise<string[] | null>} */
async function contradicted(session, signal, batch) {
  if (batch.length === 1 || await answerOf(session, signal, [newId()]) === null) {
    await keepProved(session, batch.map((one) => made(one, 0, [OWN_WORD])), null);
    return batch.map(({ id }) => id);
  }
  const half = Math.ceil(batch.length / 2);
  const first = await proofOf(session, signal, batch.slice(0, half), true);
  const second = first && await proofOf(session, signal, batch.slice(half), true);
  return second && [...first, ...second];
}

/** Facts of one's own that the server accepted, by what they are about.
    @param {Session} session */
async function saidHere(session) {
  /** @type {Map<string, Said[]>} */
  const found = new Map();
  for (const { by, state, fact, position } of await all("outbox")) {
    if (by !== session.keeper || state !== "accepted" || position === undefined) continue;
    found.set(fact.about, [...(found.get(fact.about) ?? []), { fact, position }]);
  }
  return found;
}

/** @param {KeptAnimal[]} batch
    @param {any} answer
    @param {Map<string, Said[]>} said
    @param {AbortSignal} signal */
async function judged(batch, answer, said, signal) {
  const of = (/** @type {any[]} */ ...proofs) => ({ ...answer, animals: proofs });
  try {
    const { stated, key, kept } = await statedIn(answer, signal);
    const position = Number(stated.head.size) - 1;
    /** @type {Map<string, any>} */
    const proofs = new Map(answer.animals.map((/** @type {any} */ one) => [one.id, one]));
    const found = await Promise.all(batch.map(async (animal) => {
      const proof = proofs.get(animal.id);
      if (!proof) return made(animal, position, [NONE], of());
      const record = await recordIn(proof, stated, key);
      const facts = await factsKept(animal);
      const wrong = unfit(animal, record, said.get(animal.id) ?? [], position, facts);
      wrong.push(...await otherTexts(facts ?? []));
      if (stated.why !== null) wrong.unshift(sentence(stated.why));
      return made(animal, position, wrong, of(proof), record.hidden.length);
    }));
    return { found, key: kept };
  } catch (fault) {
    if (!(fault instanceof Unfit || fault instanceof TypeError)) throw fault;
    const why = fault instanceof Unfit ? sentence(fault.message) : NONE;
    return { found: batch.map((one) => made(one, 0, [why], of())), key: null };
  }
}

/** @param {KeptAnimal} animal
    @param {number} position
    @param {string[]} amiss
    @param {unknown} [proofs]
    @param {number} [hidden]
    @returns {Proved} */
const made = (animal, position, amiss, proofs = null, hidden = 0) => ({
  id: animal.id,
  shown: shown(animal),
  at: Date.now(),
  position,
  hidden,
  amiss,
  proofs: amiss.length ? proofs : null,
  was: null,
});

const NONE = "The server shows no proof of it.";
const OWN_WORD =
  "The server says itself that it cannot show this record to be what its log states: entries were altered or taken out.";

/** @param {string} clause */
const sentence = (clause) => `${clause.charAt(0).toUpperCase()}${clause.slice(1)}.`;
