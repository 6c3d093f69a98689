/* Notices that the store of this phone was cleared, by its system or its browser. */

import { isOwed } from "../pure/outbox.js";
import { asCookie, markerIn, noCookie } from "../pure/marker.js";
import { keep } from "../store/session.js";
import { changed, state } from "./state.js";

const secure = location.protocol === "https:";
const others = new BroadcastChannel("rackside-out");

/** What was here before the store was cleared; null where it was not. */
export const clearedHere = () => state.session ? state.cleared : markerIn(document.cookie);

/** Called whenever what is stored changed. */
export function remember() {
  if (!state.session) return;
  const marker = { at: Date.now(), waits: state.outbox.filter(isOwed).length };
  const [cookie, before] = [marker, markerIn(document.cookie)].map((one) =>
    one && asCookie(one, secure)
  );
  if (cookie && cookie !== before) document.cookie = cookie;
}

/** Signed out: what is gone is meant to be. Another tab may have been reading the store meanwhile. */
export function forgetMarker() {
  document.cookie = noCookie(secure);
  others.postMessage(null);
}

others.onmessage = async () => {
  await changed();
  if (!state.session) document.cookie = noCookie(secure);
};

/** Its keeper has read it. */
export async function acknowledge() {
  await keep({ cleared: null });
  await changed();
}
