/* Keeps what is being filled in, so that neither a call nor a closed page loses it. */

import { discard, keep } from "../store/drafts.js";
import { state } from "./state.js";

const PAUSE = 250; // milliseconds of rest before a draft is kept

/** `soon` after each change, `now` when the form is left, `stop` once it is saved; `anew` drops it and
    opens an empty form. Where the store has no room, the head of every page says so.
    @param {string} animal what it is kept by: of a hatch day the parents (store/drafts.js)
    @param {string} visit
    @param {any} form */
export function keeping(animal, visit, form) {
  /** @type {ReturnType<typeof setTimeout> | null} */
  let timer = null;
  const keeper = state.session?.keeper ?? "";
  const stop = () => {
    clearTimeout(timer ?? undefined);
    timer = null;
  };
  const now = async () => {
    if (timer === null) return;
    stop();
    await keep(keeper, { animal, visit, form: structuredClone(form) }).catch(() => null); // told by the store
  };
  const soon = () => {
    stop();
    timer = setTimeout(now, PAUSE);
  };
  const anew = async () => {
    stop();
    await discard(animal);
    dispatchEvent(new HashChangeEvent("hashchange"));
  };
  return { now, soon, stop, anew };
}
