/* The frame around every view: heading, where one is, what waits. */

import { signing } from "../views/account.js";
import { clockSentence } from "../views/clock.js";
import { alarmSentence } from "../views/log_seen.js";
import { missedSentence, unfitSentence } from "../views/proved.js";
import { sentence } from "../views/own_word.js";
import { showUndo } from "./announcing.js";
import { element, moment } from "./dom.js";
import { summary } from "../pure/outbox.js";
import { state } from "./state.js";

export { announce, offerUndo, showAnnouncement } from "./announcing.js";

export const SIGN_IN = "#/signin";

/** Of an address, which of the four places at the bottom it belongs to. */
const PLACES = [
  { place: "#/own", holds: /^#\/(?:own|season|rack|hatch|log\/own)\b/ },
  { place: "#/calls", holds: /^#\/calls/ },
  { place: "#/phone", holds: /^#\/phone/ },
];

/** Marks where one is among the places at the bottom. */
export function showPlace() {
  const here = PLACES.find(({ holds }) => holds.test(location.hash))?.place ?? "#/";
  for (
    const link of /** @type {NodeListOf<HTMLAnchorElement>} */ (document.querySelectorAll("#nav a"))
  ) {
    const found = link.hash === (location.hash || "#/") ? "page" : "true";
    if (link.hash === here) link.setAttribute("aria-current", found);
    else link.removeAttribute("aria-current");
  }
}

/** Tells the styles how high the foot of every page is. */
export function measureFoot() {
  const foot = element("foot");
  new ResizeObserver(() =>
    document.documentElement.style.setProperty("--foot", `${foot.offsetHeight}px`)
  ).observe(foot);
}

/** The head of every page: signal, what waits, what is amiss. */
export function head() {
  put("signal", navigator.onLine ? state.fault : "No signal");
  put("waiting", state.session ? summary(state.outbox) : "");
  showUndo();
  put("origin", whoseLog());
  element("nav").hidden = !state.session;
  element("own").hidden = !state.own.length;
  element("out").hidden = !isSignedOut() || location.hash === SIGN_IN;
  const unsigned = signedIn() && (!state.key || state.key.state === "refused");
  put(
    "notice",
    [
      state.full && FULL,
      state.cleared && CLEARED,
      alarmSentence(),
      unfitSentence(),
      missedSentence(),
      unsigned && signing(),
      sentence(),
      clockSentence(),
      held(),
    ]
      .filter(Boolean)
      .join(" "),
  );
}

const SAYS_POSITION = /\bposition [0-9]/;

/** Once a page, where positions stand: another server's log has an entry at each of them too. */
export function whoseLog() {
  const origin = state.log?.key.split("+")[0];
  const says = origin && SAYS_POSITION.test(element("main").textContent ?? "");
  return says ? `Positions are of the log ${origin}.` : "";
}

const CLEARED = "What was stored on this phone had been cleared: “Entries” says what is lost.";
const FULL =
  "There is no room left on this phone: what you type is not kept. “This phone” shows what takes the room.";

/** Why nothing goes although there is a signal. */
function held() {
  const { hold } = state;
  if (!hold || !signedIn()) return "";
  if (hold.unconfirmed) {
    return "Your e-mail address is not confirmed yet: open the link in the letter that went to it. Everything is kept here and goes by itself then.";
  }
  return `${hold.why} Everything is kept here; it is tried again at ${
    moment(hold.from + hold.seconds * 1000)
  }.`;
}

export const signedIn = () => Boolean(state.session?.token) && !state.session?.expired;
/** The server ended this phone's session. Its keeper's calls and sheets are still here. */
export const isSignedOut = () => Boolean(state.session?.expired);

/** @param {string} id
    @param {string} text */
function put(id, text) {
  const place = element(id);
  if (place.textContent !== text) place.textContent = text;
  place.hidden = !text;
}
