/* When to send: after each save, when the signal comes back, on demand. */

import { alone, pass } from "../net/sender.js";
import { listen, rest } from "./listening.js";
import { amiss, changed, NO_SIGNAL } from "./state.js";

const LONGEST = 3_600_000; // milliseconds of one sleep; it is looked again then

/** @type {ReturnType<typeof setTimeout> | undefined} */
let timer;
/** @type {Promise<void> | null} */
let running = null;
let again = false;
let pressed = false;

/** Sends what waits, one run at a time, and one more if asked meanwhile; and listens. `press`:
    somebody asked for it, so what rests is tried too. */
export function sync({ press = false } = {}) {
  again = true;
  pressed ||= press;
  listen();
  running ??= rounds().finally(() => {
    running = null;
  });
  return running;
}

async function rounds() {
  while (again) {
    again = false;
    clearTimeout(timer);
    if (!navigator.onLine) return;
    const asked = pressed;
    pressed = false;
    const { sent, wait, silent } = await alone(() => pass(changed, asked));
    if (silent) await amiss(NO_SIGNAL);
    else if (sent) await amiss("");
    if (wait !== null) timer = setTimeout(sync, Math.min(wait * 1000, LONGEST));
  }
}

export function watch() {
  addEventListener("online", () => {
    rest();
    sync();
  });
  addEventListener("offline", rest);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") sync();
    else rest();
  });
}
