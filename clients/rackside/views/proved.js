/* What this phone found when it held animals to the log: one quiet line, or what does not fit. */

import { h, list, moment } from "../app/dom.js";
import { saveFile } from "../app/files.js";
import { changed, state } from "../app/state.js";
import { asOf, savedRecord, unfitNow } from "../pure/proved.js";
import { isMissed } from "../pure/outbox.js";
import { title } from "../pure/search.js";
import { isBlind } from "../pure/sight.js";
import { mapKey, setAside } from "../store/proved.js";

/** What the head of every page says; nothing where all fits. */
export function unfitSentence() {
  const labels = [...state.proved.values()].filter(unfitNow).map(({ shown }) => shown[0].label);
  if (!labels.length) return "";
  const named = labels.slice(0, 3).join(", ") + (labels.length > 3 ? " and others" : "");
  return `Alarm: what is shown of ${named} does not fit the log. Rely on nothing of it; see there.`;
}

/** The same of what was sent from here. */
export function missedSentence() {
  const missed = state.outbox.filter(isMissed).length;
  if (!missed) return "";
  const entries = missed === 1 ? "an entry" : `${missed} entries`;
  return `Alarm: the log does not hold ${entries} of yours as sent from this phone. See Entries.`;
}

/** How far a list of animals was held to the log.
    @param {Animal[]} animals
    @param {Map<string, Proved>} [proved] */
export function checkedLine(animals, proved = state.proved) {
  if (!animals.length) return "";
  if (state.unable) return `Not checked by this phone. ${state.unable}`;
  const whole = animals.filter((one) => !isBlind(one));
  return [
    whole.length > 0 && checked(whole, proved),
    whole.length < animals.length && blind(whole.length),
  ]
    .filter(Boolean).join(" ");
}

/** @param {Animal[]} animals
    @param {Map<string, Proved>} proved */
function checked(animals, proved) {
  const all = asOf(animals, proved);
  if (!all) {
    const unfit = animals.some((one) => proved.get(one.id)?.amiss.length);
    return unfit
      ? "What does not fit the log is named with the animal."
      : "Not all checked by this phone yet.";
  }
  const entries = all.hidden === 1 ? "1 entry" : `${all.hidden} entries`;
  const besides = all.hidden ? ` (with ${entries} you have no access to)` : "";
  return `Checked by this phone: complete and unaltered as of position ${
    all.position.toLocaleString("en")
  }${besides}.`;
}

/** @param {number} others */
const blind = (others) =>
  others
    ? "Of those you have still to check it cannot be shown to you yet that their records are complete."
    : "Before your own call it cannot be shown to you that a record is complete.";

/** What changes where something does not fit.
    @param {Animal} animal */
export function unfitMark({ id }) {
  const proved = state.proved.get(id);
  const found = proved && unfitNow(proved);
  return found ? [found.at, found.amiss, proved.amiss.length] : null;
}

/** Whether an animal was held to the log as it is now, and fits.
    @param {Animal} animal
    @param {Map<string, Proved>} proved */
export const isProved = (animal, proved) => asOf([animal], proved) !== null;

/** What the row of an animal says that does not fit. */
export const UNFIT_ROW = "Does not fit the log: rely on nothing of it. See above.";

/** What does not fit among animals, above their list. */
export function unfitAmong() {
  const node = h("div", {});
  let shown = "[]";
  return {
    node,
    /** @param {Animal[]} animals */
    show(animals) {
      const odd = animals.filter(unfitMark);
      const look = JSON.stringify(odd.map((one) => [one, unfitMark(one)]));
      if (look !== shown) node.replaceChildren(...odd.map(unfit).filter((one) => one !== null));
      shown = look; // else a tap that is under way would miss
    },
  };
}

/** What does not fit of an animal, beside it; null where all does.
    @param {Animal} animal */
export function unfit(animal) {
  const proved = state.proved.get(animal.id);
  const found = proved && !isBlind(animal) && unfitNow(proved);
  if (!found) return null;
  const again = !proved.amiss.length;
  return h(
    "div",
    { class: "refused", role: "group", "aria-label": `${title(animal)} and the log` },
    h(
      "p",
      {},
      again
        ? `At ${moment(found.at)} this was not what the log holds. It fits by now.`
        : "What is shown here is not what the log holds. Do not rely on it, and tell whoever runs this service.",
    ),
    list(found.amiss),
    h(
      "p",
      { class: "actions" },
      press("Save record and proof", () => save(found)),
      again && press("Set it aside", () => setAside(animal.id).then(changed)),
    ),
  );
}

/** @param {string} label
    @param {() => Promise<void>} act */
const press = (label, act) => h("button", { type: "button", class: "plain", onclick: act }, label);

/** @param {Unfit} found */
async function save(found) {
  const by = {
    service: location.origin,
    key: state.log?.key ?? "",
    mapKey: (await mapKey())?.certified ?? null,
  };
  const text = JSON.stringify(savedRecord(found, by), null, 1);
  saveFile(`record-and-proof-${new Date(found.at).toISOString().slice(0, 10)}.json`, text);
}
