// How a page asks its service for proofs, and what it remembers of the log between visits.

import { Refused, Unreachable } from "../shared/bytes.js";

/** The service says itself that its log does not continue what it signed. */
export class Contradicted extends Error {}

const LOG = "/api/v1/log";
const BUSY = [429, 502, 503, 504];

/** @type {LogAsked} */
export const service = {
  consistency: async (old, now) => {
    const answer = await fetch(`${LOG}/consistency?old=${old}&new=${now}`, FRESH).catch(noAnswer);
    if (!answer.ok && !BUSY.includes(answer.status)) return null;
    const { proof } = await (await sound(answer)).json();
    if (!Array.isArray(proof)) throw new Refused("the log shows no proof");
    return proof;
  },
  mapKey: async () => await asked(`${LOG}/map-key`),
  keyChanges: async () => (await asked(`${LOG}/key-changes`)).changes,
};

/** @type {RequestInit} */
const FRESH = { redirect: "manual", cache: "no-store" };

/** What an address of this service answers. Throws Unreachable, and Contradicted.
 * @param {string} path */
export async function asked(path) {
  return await (await sound(await fetch(path, FRESH).catch(noAnswer))).json();
}

/** @returns {never} */
function noAnswer() {
  throw new Unreachable("There was no connection to this service.");
}

/** @param {Response} answer */
async function sound(answer) {
  if (answer.ok) return answer;
  if (answer.type === "opaqueredirect") throw new Unreachable("You are signed out.");
  const problem = await answer.json().catch(() => ({}));
  if (problem.code === "log_contradicted") throw new Contradicted();
  if (problem.code === "fenced") {
    throw new Unreachable("The operator is checking that the record is complete.");
  }
  throw new Unreachable(`This service gave no proof just now (${answer.status}).`);
}

/** A page's memory: what the browser keeps for this service, or nothing where it keeps nothing.
 * @returns {LogMemory} */
export function browserMemory() {
  const name = (/** @type {string} */ what) => (/** @type {string} */ origin) =>
    `scalewitness ${what} ${origin}`;
  const [note, key] = [name("checkpoint"), name("map key")];
  return {
    note: (origin) => kept(note(origin)),
    keepNote: (origin, text) => keep(note(origin), text),
    mapKey: (origin) => kept(key(origin)),
    keepMapKey: (origin, text) => keep(key(origin), text),
  };
}

/** @param {string} name */
function kept(name) {
  try {
    return localStorage.getItem(name);
  } catch {
    return null; // a browser may be set to keep nothing
  }
}

/** @param {string} name
 * @param {string} text */
function keep(name, text) {
  try {
    localStorage.setItem(name, text);
  } catch {
    // as above
  }
}
