/* Facts in one's own name that no device of one's own is known to have signed. */

import { h, moment } from "../app/dom.js";
import { changed, state } from "../app/state.js";
import { reply } from "../net/own_word.js";
import { isAlarm, WHY } from "../pure/own_word.js";

const MOST = 5; // facts of one device named one by one

/** What the head of every page says of them; nothing where there is none. */
export function sentence() {
  const unanswered = state.doubts.filter(({ answer }) => !answer).length;
  if (!unanswered) return "";
  const start = state.doubts.some(isAlarm) ? "Alarm: " : "";
  const facts = unanswered === 1 ? "1 entry is" : `${unanswered} entries are`;
  return `${start}${facts} in your name that no device of yours is known to have signed. See This phone.`;
}

export function inMyName() {
  if (!state.doubts.length) return null;
  /** @type {Map<string, InMyName[]>} */
  const groups = new Map();
  for (const one of state.doubts) {
    const name = `${one.entry.device} ${one.why} ${one.answer}`;
    groups.set(name, [...(groups.get(name) ?? []), one]);
  }
  return h(
    "section",
    { class: "refused", "aria-label": "In your name" },
    h("h2", {}, "In your name"),
    [...groups.values()].map(group),
  );
}

/** @param {InMyName[]} facts */
function group(facts) {
  const [{ why, answer }] = facts;
  const rows = facts.slice(0, MOST).map(({ entry, position }) =>
    h("li", {}, `${entry.kind.replaceAll("_", " ")}, ${moment(entry.at)}, position ${position}`)
  );
  const rest = facts.length - rows.length;
  return h(
    "div",
    {},
    h(
      "p",
      {},
      `${facts.length === 1 ? "This was" : `These ${facts.length} were`} ${WHY[why ?? ""]}:`,
    ),
    h("ul", {}, rows, rest > 0 && h("li", {}, `and ${rest} more`)),
    answer ? h("p", {}, NOT_MINE) : h(
      "p",
      { class: "actions" },
      press("That was me", () => reply(facts, "mine")),
      press("That was not me", () => reply(facts, "not mine")),
    ),
  );
}

const NOT_MINE =
  "Not you, by your word. Revoke that device and set a new password on your account’s page, and withdraw what can be withdrawn. Then you can rule that only what your devices sign counts: scalewitness require-signatures.";

/** @param {string} label
    @param {() => Promise<void>} act */
const press = (label, act) =>
  h("button", { type: "button", class: "plain", onclick: () => act().then(changed) }, label);
