/* Learns of changes as they happen: one tab of the phone, while it is looked at, keeps asking,
   and the server answers when there is something. */

import { Refused } from "../net/api.js";
import { look } from "../net/log.js";
import { judge } from "../net/own_word.js";
import { prove } from "../net/proving.js";
import * as replica from "../net/replica.js";
import { backoff } from "../pure/waiting.js";
import { refreshed } from "../store/replica.js";
import { expire, session as stored } from "../store/session.js";
import { amiss, changed, NO_SIGNAL } from "./state.js";

const HELD = 25; // seconds for which the server may keep an empty answer back
const APART = 5; // seconds between empty answers: the server may have no room for waiting
const LONGEST = 60; // seconds between attempts

/** @type {AbortController | null} */
let going = null;
let wake = () => {};

/** Begins to listen, or tries again at once. */
export function listen() {
  wake();
  if (going && !going.signal.aborted) return;
  const begun = new AbortController();
  going = begun;
  asOneTab(begun.signal, () => turns(begun.signal)).finally(() => {
    if (going === begun) going = null;
  });
}

/** Stops listening, so that another tab may. */
export function rest() {
  going?.abort();
  wake();
}

/** A browser without locks listens in each tab; the store takes each page once.
    @param {AbortSignal} signal
    @param {() => Promise<void>} work
    @returns {Promise<void>} */
function asOneTab(signal, work) {
  if (!navigator.locks) return work();
  return navigator.locks.request("rackside-feed", { signal }, work).catch((fault) => {
    if (fault.name !== "AbortError") throw fault;
  });
}

/** @param {AbortSignal} signal */
async function turns(signal) {
  let attempts = 0;
  let fresh = true; // the first turn fetches the visits whatever the feed says
  while (!signal.aborted && navigator.onLine) {
    const session = await stored();
    if (!session?.token || session.expired) return;
    const begun = Date.now();
    const { came, alarmed, fault } = await turn(session, signal, fresh);
    if (alarmed) return;
    attempts = fault ? attempts + 1 : 0;
    if (fault) {
      await pause(Math.min(fault.wait ?? backoff(attempts, Math.random()), LONGEST), signal);
    } else if (!came && !fresh) await pause(APART - (Date.now() - begun) / 1000, signal);
    fresh = Boolean(fault);
  }
}

/** One look at the feed: whether anything came, and what went wrong; `alarmed`: nothing is taken in.
    @param {Session} session
    @param {AbortSignal} signal
    @param {boolean} fresh
    @returns {Promise<{ came?: boolean, alarmed?: boolean, fault?: Fault }>} */
async function turn(session, signal, fresh) {
  try {
    if (!(await look(session, signal))) {
      await amiss("");
      return { alarmed: true };
    }
    const came = await follow(session, { wait: fresh ? 0 : HELD, signal });
    if (came || fresh) await replica.visits(session, signal, changed);
    const fetch = async () => {
      await follow(session, { wait: 0, signal });
      await replica.visits(session, signal, changed);
    };
    if (!(await prove(session, signal, { fetch, changed }))) {
      await amiss("");
      return { alarmed: true };
    }
    await refreshed(session, Date.now());
    await amiss("");
    return { came };
  } catch (caught) {
    const fault = /** @type {Fault} */ (caught);
    if (signal.aborted) return {};
    if (fault.status === 401) await expire(session);
    await amiss(fault instanceof Refused ? (fault.status === 401 ? "" : fault.message) : NO_SIGNAL);
    return { fault };
  }
}

/** Reads the feed to its end and judges what it brought: whatever asks, or what came while proofs were
    asked for would be judged only after the feed's next answer.
    @param {Session} session
    @param {{ wait: number, signal: AbortSignal }} how */
async function follow(session, how) {
  const came = await replica.follow(session, how);
  if (await judge(session)) await changed();
  return came;
}

/** Until the time is up, or someone asks at once.
    @param {number} seconds
    @param {AbortSignal} signal */
function pause(seconds, signal) {
  if (seconds <= 0 || signal.aborted) return null;
  return new Promise((/** @type {(value?: unknown) => void} */ done) => {
    const timer = setTimeout(done, seconds * 1000);
    wake = () => {
      clearTimeout(timer);
      done();
    };
  });
}
