/* What the views show: the store read into memory, and word of every change, also in other tabs. */

import { whyNot } from "../checking/ed25519.js";
import { lastLook } from "../net/clock.js";
import { isHeldOff } from "../pure/cautions.js";
import { asEdited, isEdit } from "../pure/edits.js";
import { needsYou } from "../pure/outbox.js";
import { isAsked } from "../pure/own_word.js";
import { inOrder } from "../pure/places.js";
import { title } from "../pure/search.js";
import { awaited, blindly, isBlind } from "../pure/sight.js";
import { stateAt } from "../pure/visits.js";
import { BEFORE_A_CHECK } from "../pure/words.js";
import { clock as storedClock } from "../store/clock.js";
import { all, get, some } from "../store/db.js";
import { alarms, known } from "../store/log.js";
import { provedOf } from "../store/proved.js";
import { sending } from "../store/sending.js";

export const NO_SIGNAL = "No signal"; // also where the phone believes that it has one

const others = new BroadcastChannel("rackside");
/** @type {Set<() => unknown>} */
const listeners = new Set();

/** @type {{
      session: Session | null, key: PhoneKey | null, refreshed: number | null,
      visits: KeptVisit[], animals: Map<string, Animal>, outbox: Stored[], fault: string,
      clock: Look | null, hold: Hold | null, own: Person[], named: Person[], doubts: InMyName[],
      log: KnownLog | null, alarms: Alarm[], unable: string | null, full: boolean,
      latest: Latest | null, cleared: Marker | null,
      proved: Map<string, Proved>, season: KeptPairing[], sittings: Sitting[],
    }} */
export const state = {
  session: null,
  key: null,
  refreshed: null,
  visits: [],
  animals: new Map(),
  outbox: [],
  fault: "",
  clock: null,
  hold: null,
  own: [],
  named: [],
  doubts: [],
  log: null,
  alarms: [],
  proved: new Map(),
  season: [],
  sittings: [],
  unable: null,
  full: false,
  latest: null,
  cleared: null,
};

const unable = whyNot();

export async function load() {
  const [
    session,
    key,
    refreshed,
    visits,
    outbox,
    clock,
    { hold },
    own,
    named,
    naming,
    inMyName,
    log,
    raised,
    season,
    sittings,
    latest,
    cleared,
  ] = await Promise
    .all([
      get("meta", "session"),
      get("meta", "key"),
      get("meta", "refreshed"),
      all("visits"),
      all("outbox"),
      storedClock(),
      sending(),
      get("meta", "own"),
      get("meta", "named"),
      get("meta", "naming"),
      all("named"),
      known(),
      alarms(),
      get("meta", "season"),
      all("sittings"),
      get("meta", "latest"),
      get("meta", "cleared"),
    ]);
  // A breeder's own animals are kept too; only those of sheets are looked at.
  const ids = visits.flatMap(({ rows }) => (rows ?? []).map((one) => one.animal));
  const [animals, proved] = await Promise.all([some("animals", ids), provedOf(ids)]);
  Object.assign(state, {
    session: session ?? null,
    key: key ?? null,
    refreshed: refreshed ?? null,
    visits,
    animals: new Map(animals.map((one) => [one.id, one])),
    outbox: outbox.sort((a, b) => b.order - a.order),
    clock: later(clock, lastLook()),
    hold,
    own: own ?? [],
    named: [...(named ?? []), ...(naming ?? [])],
    doubts: inMyName.filter(isAsked).sort((a, b) => a.position - b.position),
    log,
    alarms: raised,
    season: season ?? [],
    sittings,
    latest: latest ?? null,
    cleared: cleared ?? null,
    proved: new Map(proved.map((one) => [one.id, one])),
    unable: await unable,
  });
}

/** @param {() => unknown} listener */
export function onChange(listener) {
  listeners.add(listener);
}

/** Reads the store again and tells every view, here and in other tabs. */
export async function changed() {
  others.postMessage({ fault: state.fault });
  await reread();
}

/** What the head of every page says is amiss; nothing where all is well.
    @param {string} what */
export async function amiss(what) {
  state.fault = what;
  await changed();
}

/** @type {Promise<void> | null} */
let reading = null;
/** @type {Promise<void> | null} */
let next = null;

/** However many changes come while the store is read, it is read once more for all of them.
    @returns {Promise<void>} */
function reread() {
  if (reading) {
    next ??= reading.catch(() => {}).then(() => {
      next = null;
      return reread();
    });
    return next;
  }
  reading = load()
    .then(() => listeners.forEach((listener) => listener()))
    .finally(() => reading = null);
  return reading;
}

others.onmessage = (/** @type {MessageEvent<{ fault: string }>} */ { data }) => {
  state.fault = data.fault;
  return reread();
};

/** @param {Look | null} one
    @param {Look | null} other */
const later = (one, other) => (!one || (other && other.server > one.server) ? other : one);

/** In the place of a visit: one's own animals, which are always open to their keeper.
    @type {KeptVisit} */
export const OWN = {
  id: "own",
  state: "open",
  opens: "",
  closes: "",
  blind: false,
  count: 0,
  host: { id: "", name: "" },
  guest: { id: "", name: "" },
  cautions: BEFORE_A_CHECK,
  rows: [],
  ahead: [],
};

/** The animals in collections that one keeps or is a partner in, by place; read when they are looked
    at, as they may be thousands. One that is still to be checked blind is among them as its sheet
    has it. */
export const ownAnimals = async () => byPlace(asSeen(await ownKept()));

/** The same as they are kept, for a view that stays while visits open and edits are made. */
export async function ownKept() {
  const own = new Set(state.own.map(({ id }) => id));
  return (await all("animals")).filter((one) => own.has(one.collection?.id ?? ""));
}

/** One of them; undefined where it is not here, or not theirs.
    @param {string} id */
export async function ownAnimal(id) {
  const found = await get("animals", id);
  if (!found || !state.own.some((one) => one.id === found.collection?.id)) return undefined;
  return asSeen([found])[0];
}

/** The pairings of which one is told now: none with an animal that one is to check blind, as that would
    tell what it was taken for. */
export function seasonTold() {
  const blind = awaited(state.visits.filter(isOpen), state.outbox);
  const is = (/** @type {Half | null} */ half) => half !== null && blind.has(half.id);
  return state.season.filter(({ dam, sire }) => !is(dam) && !is(sire));
}

/** Animals as their reader may see them now (see pure/sight.js), with what was edited here.
    @template {Animal} A
    @param {A[]} animals
    @returns {Animal[]} */
export function asSeen(animals) {
  const blind = awaited(state.visits.filter(isOpen), state.outbox);
  const edits = state.outbox.filter(isEdit);
  return animals.map((one) =>
    blind.has(one.id) && !isBlind(one) ? blindly(one) : asEdited(one, edits)
  );
}

/** Whether one of these is to be checked blind now: a view made of them before shows too much.
    @param {string[]} ids */
export function awaitsBlind(ids) {
  const blind = awaited(state.visits.filter(isOpen), state.outbox);
  return ids.some((id) => blind.has(id));
}

/** By place, else by what they are called.
    @param {Animal[]} animals */
export const byPlace = (animals) => inOrder(animals, (one) => [one.rack ?? "", title(one)]);

/** What the server's clock says, as far as this phone knows: milliseconds. */
export const now = () => Date.now() + (state.clock?.offset ?? 0) * 1000;

/** @param {string} id */
export const visitOf = (id) => state.visits.find((one) => one.id === id);
/** @param {KeptVisit | undefined} visit */
export const isOpen = (visit) => visit !== undefined && stateAt(visit, now()) === "open";
/** The animals of an open visit's sheet that are here, by place where it may be known, else by tag,
    as the feed last had them, or else as the sheet was handed over; `own_call` is one's call of this
    visit.
    @param {string} id
    @returns {Animal[]} */
export function animalsOf(id) {
  const visit = visitOf(id);
  if (!visit || !isOpen(visit)) return [];
  const ahead = new Map((visit.ahead ?? []).map((one) => [one.id, one]));
  const rows = visit.rows ?? [];
  const calls = new Map(rows.map(({ animal, own_call }) => [animal, own_call]));
  const found = rows.flatMap(({ animal }) => state.animals.get(animal) ?? ahead.get(animal) ?? []);
  return byPlace(asSeen(found).map((one) => ({ ...one, own_call: calls.get(one.id) })));
}
/** Those of them that are to be checked: what its keeper says is no longer there is not, nor one
    to leave alone for now that is still to be checked blind.
    @param {string} id */
export const toCheck = (id) => animalsOf(id).filter((one) => !one.ended && !isToLeave(one));
/** @param {Animal} animal */
const isToLeave = (animal) => isBlind(animal) && isHeldOff(animal);
/** What is to be left alone for now, by what it is known by: as the sheet had it, and as the feed
    told since.
    @param {string} id */
export const leftAlone = (id) => [
  ...visitOf(id)?.held?.titles ?? [],
  ...animalsOf(id).filter((one) => !one.ended && isToLeave(one)).map(title),
];

/** Calls by visit and animal, of the outbox as it was last read: lists ask of each row.
    @type {{ of: Stored[], by: Map<string, Stored[]> }} */
let calls = { of: [], by: new Map() };

/** One's own calls made here on an animal of a visit, the newest first.
    @param {string} animal
    @param {string} visit */
export function callsOn(animal, visit) {
  if (calls.of !== state.outbox) {
    calls = { of: state.outbox, by: new Map() };
    for (const one of state.outbox) {
      if (one.fact.kind !== "call_made" || one.state === "aside") continue;
      const where = key(one.fact.about, one.shown.visit);
      calls.by.set(where, [...calls.by.get(where) ?? [], one]);
    }
  }
  return calls.by.get(key(animal, visit)) ?? [];
}

/** @param {string} animal
    @param {string} visit */
const key = (animal, visit) => `${visit} ${animal}`;

/** Whether an animal of a visit has one's own call, here or on record; one that was refused is
    still to be put right.
    @param {Animal} animal
    @param {string} visit */
export const isDone = (animal, visit) =>
  Boolean(animal.own_call) || callsOn(animal.id, visit).some((one) => !needsYou(one));

/** The next animal of a visit's sheet that has no call of one's own yet, in the order of places after
    that one, and round again; none that is to be left alone for now. Null: there is none.
    @param {string} visit
    @param {string} animal */
export function nextToDo(visit, animal) {
  const all = toCheck(visit);
  const at = all.findIndex(({ id }) => id === animal);
  const round = [...all.slice(at + 1), ...all.slice(0, Math.max(at, 0))];
  return round.find((one) => !isDone(one, visit) && !isHeldOff(one)) ?? null;
}
