/* What a reader types, or the camera sees, opens that animal from anywhere in the app. */

import { goesOn, heard, LEAST, readings, SILENCE } from "../pure/burst.js";
import { bears } from "../pure/scanned.js";
import { isOpen, OWN, ownAnimals, state, toCheck } from "./state.js";

let scans = 0;
/** What opened a view, until that has taken it. @type {{ code: string, by: ScannedBy, hash: string } | null} */
let opened = null;

/** Opens whom one of these codes belongs to, unless the view makes use of it; the likelier reading
    first. A later scan replaces one that is still being looked up.
    @param {string[]} codes
    @param {ScannedBy} by
    @param {View | null} view */
export async function scanned(codes, by, view) {
  const turn = (scans += 1);
  const all = await within();
  if (turn !== scans) return;
  const code = codes.find((one) => all.some(({ animal }) => bears(animal, one))) ?? codes[0];
  const found = all.filter(({ animal }) => bears(animal, code));
  if (view?.scanned?.(code, by, found)) return;
  const hash = found.length === 1 ? addressOf(found[0]) : `#/found/${encodeURIComponent(code)}`;
  opened = location.hash === hash ? null : { code, by, hash };
  location.hash = hash;
}

/** What was scanned to open the view of now, once: a later check is not this one. */
export function takeScanned() {
  const taken = opened?.hash === location.hash ? opened : null;
  opened = null;
  return taken;
}

/** Whom a code belongs to here, each once.
    @param {string} code */
export const bearersOf = async (code) =>
  (await within()).filter(({ animal }) => bears(animal, code));

/** @param {Bearer} bearer */
export const addressOf = ({ animal, visit }) =>
  visit === OWN.id ? `#/own/${animal.id}` : `#/log/${visit}/${animal.id}`;

/** All that may be opened: on the sheet one is at, then on those of other open visits, then own ones.
    @returns {Promise<Bearer[]>} */
async function within() {
  const here = /^#\/(?:visit|log)\/([\w-]+)/.exec(location.hash)?.[1];
  const sheets = state.visits.filter(isOpen).map(({ id }) => id)
    .sort((a, b) => Number(b === here) - Number(a === here));
  const all = [
    ...sheets.flatMap((visit) => toCheck(visit).map((animal) => ({ animal, visit }))),
    ...(await ownAnimals()).map((animal) => ({ animal, visit: OWN.id })),
  ];
  return [...new Map(all.toReversed().map((one) => [one.animal.id, one])).values()];
}

/** Listens for readers that plug in as a keyboard. The codes they type go nowhere else: what stood in
    a field is there as before, and their Enter presses and sends nothing.
    @param {(codes: string[]) => void} does */
export function listenToReaders(does) {
  let burst = SILENCE;
  let ended = -Infinity;
  let putBack = () => {};
  addEventListener("keydown", (event) => {
    if (!state.session || isSecret(document.activeElement)) return;
    if (event.key === "Enter") enter(event);
    else if (isSign(event)) sign(event);
  }, { capture: true });

  /** @param {KeyboardEvent} event */
  function sign(event) {
    if (!goesOn(burst, event.timeStamp)) putBack = keeping(document.activeElement);
    burst = heard(burst, event);
    const isLate = burst.typed.length > LEAST; // a space in the code would press a button
    if (isLate && !isField(document.activeElement)) event.preventDefault();
  }

  /** @param {KeyboardEvent} event */
  function enter(event) {
    const codes = readings(burst, event.timeStamp);
    const isSecond = event.timeStamp - ended <= 0 ||
      goesOn({ ...SILENCE, last: ended }, event.timeStamp);
    burst = SILENCE;
    if (!codes.length && !isSecond) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    ended = event.timeStamp; // some readers end with two
    if (!codes.length) return;
    putBack();
    does(codes);
  }
}

/** @param {KeyboardEvent} event */
const isSign = (event) =>
  event.key.length === 1 && !event.ctrlKey && !event.metaKey && !event.altKey && !event.isComposing;

/** A password manager types fast, too.
    @param {Element | null} place */
const isSecret = (place) => place instanceof HTMLInputElement && place.type === "password";

/** @param {Element | null} place
    @returns {place is HTMLInputElement | HTMLTextAreaElement | HTMLSelectElement} */
const isField = (place) =>
  place instanceof HTMLInputElement || place instanceof HTMLTextAreaElement ||
  place instanceof HTMLSelectElement;

/** Puts what stands in a field now there again.
    @param {Element | null} place */
function keeping(place) {
  if (!isField(place)) return () => {};
  const { value } = place;
  return () => {
    if (!place.isConnected || place.value === value) return;
    place.value = value;
    const kind = place instanceof HTMLSelectElement ? "change" : "input";
    place.dispatchEvent(new Event(kind, { bubbles: true }));
  };
}
