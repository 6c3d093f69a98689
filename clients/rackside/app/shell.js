/* The frame around every view: heading, where one is, what waits. */

import { signing } from "../views/account.js";
import { summary } from "../pure/outbox.js";
import { state } from "./state.js";

const at = (id) => document.getElementById(id);

/** Changes the view and says what has just been done there; it stands until the next change. */
export function announce(text, hash) {
  saying = text;
  location.hash = hash;
}

let saying = "";

/** Called at each change of view. */
export function say() {
  at("said").textContent = saying;
  saying = "";
}

/** The head of every page: signal, what waits, what is amiss. */
export function head() {
  put("signal", navigator.onLine ? state.fault : "No signal");
  put("waiting", state.session ? summary(state.outbox) : "");
  at("nav").hidden = !signedIn();
  const unsigned = signedIn() && (!state.key || state.key.state === "refused");
  put("notice", unsigned ? signing() : "");
}

export const signedIn = () => Boolean(state.session?.token) && !state.session.expired;

function put(id, text) {
  const place = at(id);
  if (place.textContent !== text) place.textContent = text;
  place.hidden = !text;
}
