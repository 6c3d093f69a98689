// What a receipt that holds shows, and the second step: asking the log as it is now.

import { growth, here } from "./growth.js";
import { made } from "./made.js";
import { busy, facts, folded, items, say, spoken } from "./show.js";
import { bodyRows, dependsOn, grownVerdict, rows, SHOWS, SHOWS_NOT } from "./words.js";

/** Elements for a judgement that holds. `brief`: the page says itself what receipts show.
 * @param {Judged & { holds: true }} judged
 * @param {VerifierKey[]} site
 * @param {boolean} brief */
export function found(judged, site, brief) {
  const { proven } = judged;
  const parts = [
    made("h3", "What it is"),
    facts(rows(proven)),
    folded(
      "All that the entry holds",
      facts(bodyRows(proven.entry.body)),
      made("p", NAMELESS, "fine"),
    ),
  ];
  if (!brief) parts.push(made("h3", "What this shows"), items(SHOWS));
  const limits = brief ? dependsOn(judged) : [...SHOWS_NOT, ...dependsOn(judged)];
  parts.push(made("h3", "What it does not show"), items(limits), ...secondStep(judged, site));
  return parts;
}

const NAMELESS =
  "Names are not in the log. Written text is not either: the entry holds its fingerprint, so that the text itself can be erased.";

/** @param {Judged & { holds: true }} judged
 * @param {VerifierKey[]} site */
function secondStep({ proven, logs }, site) {
  const title = made("h3", "Does the log still hold to it?");
  if (!site.some((one) => one.name === proven.head.origin)) {
    return [
      title,
      made(
        "p",
        "The receipt is of another log than the one kept here, so it cannot be asked from this page.",
      ),
    ];
  }
  if (site[0].name !== proven.head.origin) return [title, made("p", CLOSED)];
  const button = made("button", "Ask the log now", "plain");
  button.type = "button";
  const actions = made("p", "", "actions");
  actions.append(button);
  const region = spoken();
  button.addEventListener("click", () => busy(button, () => askNow(region, proven, logs)));
  const summary =
    "This needs the network. It fetches the log’s newest signed state and a proof that it still begins with what was signed then.";
  return [title, made("p", summary), actions, region];
}

const CLOSED =
  "It signs nothing more: its log was closed, as entries were lost, and goes on under another name; the page /log says what is missing. The receipt stays valid, and whoever holds it can show that the entry was accepted.";

/** @param {HTMLElement} region
 * @param {Proven} proven
 * @param {VerifierKey[]} logs */
async function askNow(region, proven, logs) {
  const answer = await growth(proven.head, logs, here);
  say(region, grownVerdict(answer));
  if (!answer.evidence) return;
  const code = made("pre");
  code.append(made("code", new TextDecoder().decode(answer.evidence)));
  region.append(code);
}
