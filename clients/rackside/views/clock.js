/* What is said of this phone's clock, and how a time is put right. */

import { lookAt, lookOf, notedOf, readingNow } from "../app/logging.js";
import { fresh, h, line, moment, twice } from "../app/dom.js";
import { state } from "../app/state.js";
import { corrected, holds, isOff, wayOff } from "../pure/clock.js";
import { isMistimed } from "../pure/outbox.js";

/** For the head of every page; nothing where the clock was right. */
export function clockSentence() {
  if (!state.clock || !isOff(state.clock)) return "";
  return holds(readingNow(), state.clock) ? off(state.clock) : was(state.clock);
}

/** @param {Look} look */
const was = (look) => `At the last signal this phone’s clock was ${wayOff(look.offset)}.`;
/** @param {Look} look */
const off = (look) =>
  `This phone’s clock is ${wayOff(look.offset)}: the server’s said ${moment(look.server)}.`;

/** For the form of a call: the time it will claim. `refused`: the call that it replaces. Null
    where there is nothing to say.
    @param {CallForm} form
    @param {Stored | null} refused
    @param {() => void} change
    @param {() => unknown} anew opens an empty form */
export function timeOf(form, refused, change, anew) {
  if (refused) return askedAgain(form, refused, change);
  if (form.noted) return keptTime(form, form.noted, change, anew);
  const reading = readingNow();
  const look = lookAt(reading, null);
  if (look) return offer(form, reading, look, change);
  if (!state.clock) return null;
  if (isOff(state.clock)) {
    return warning(
      `${
        was(state.clock)
      } Whether it still is will be known at the next; the call’s time can be corrected then.`,
    );
  }
  const back = reading.here < state.clock.here - 60_000;
  return back &&
    warning(
      "This phone’s clock was set back since the last signal, so how far it is off is not known. Set it right, or the call’s time may be refused.",
    );
}

/** Of one that was undone before it was sent: its time stays that of the check, and another check is
    another form.
    @param {CallForm} form
    @param {WhenNoted} noted
    @param {() => void} change
    @param {() => unknown} anew */
function keptTime(form, noted, change, anew) {
  const look = noted.reading && lookAt(null, noted);
  return h(
    "div",
    {},
    look
      ? offer(form, /** @type {Reading} */ (noted.reading), look, change)
      : h("p", { class: "fine" }, `Its time stays that of the check: ${moment(noted.at)}.`),
    h("p", { class: "actions" }, twice("Begin an empty form", "Drop what is filled in", anew)),
  );
}

/** @param {CallForm} form
    @param {Stored} refused
    @param {() => void} change */
function askedAgain(form, refused, change) {
  const look = lookAt(null, notedOf(refused));
  if (look) return offer(form, /** @type {Reading} */ (refused.reading), look, change);
  if (!isMistimed(refused) || lookOf(refused)) return null;
  return h(
    "div",
    { class: "warnings" },
    h("p", {}, UNKNOWN),
    line({
      name: "when",
      label: "When you checked it",
      type: "datetime-local",
      value: form.when ?? "",
      oninput: (event) => {
        form.when = event.target.value;
        change();
      },
    }),
  );
}

const UNKNOWN =
  "This phone’s clock was set between the check and the next signal: how far it was off is not known.";

/** @param {CallForm} form
    @param {Reading} reading
    @param {Look} look
    @param {() => void} change */
function offer(form, reading, look, change) {
  const id = fresh("correct");
  form.correct ??= true;
  const tick = h("input", {
    type: "checkbox",
    id,
    checked: form.correct,
    onchange: (event) => {
      form.correct = event.target.checked;
      change();
    },
  });
  return h(
    "div",
    { class: "warnings" },
    h("p", {}, off(look)),
    h(
      "p",
      { class: "tick" },
      tick,
      h("label", { for: id }, `Correct the call’s time to ${moment(corrected(reading, look).at)}`),
    ),
  );
}

/** @param {string} text */
const warning = (text) => h("div", { class: "warnings" }, h("p", {}, text));

/** Whether it was refused for a time of which it is known how far it was off.
    @param {Stored} one */
export const isCorrectable = (one) => isMistimed(one) && isOff(lookOf(one));

/** Of a stored entry: how its time came about, and the offer to put it right. `send` does, where it
    does not go with another.
    @param {Stored} one
    @param {((one: Stored) => unknown) | null} send */
export function timeNote(one, send) {
  const correction = one.fact.body.corrected;
  if (correction) {
    return h(
      "p",
      { class: "fine" },
      `The time was corrected: the phone’s clock said ${moment(correction.read)} and was ${
        wayOff(Number(correction.offset))
      }.`,
    );
  }
  if (!isMistimed(one) || !one.reading) return null;
  const look = lookOf(one);
  if (!look) return h("p", {}, UNKNOWN, one.form && " “Edit and send anew” asks when it was.");
  if (!isOff(look)) return null;
  return [
    h(
      "p",
      {},
      `This phone’s clock is ${wayOff(look.offset)}: it said ${
        moment(one.reading.here)
      }, when by the server’s it was ${moment(corrected(one.reading, look).at)}.`,
    ),
    send && h("p", { class: "actions" }, sending("Send with the corrected time", () => send(one))),
  ];
}

/** @param {string} label
    @param {() => unknown} send */
export function sending(label, send) {
  const button = h("button", {
    type: "button",
    onclick: () => {
      button.disabled = true;
      send();
    },
  }, label);
  return button;
}
