/* Going from tub to tub on a hatch day: each is weighed, then, that day or later, sexed. What is
   tapped is on the disk before the next is shown. */

import { choice, h, list, notKept, within } from "../app/dom.js";
import { outboxById, revise, sittingOf } from "../app/hatching.js";
import { keypad } from "../app/keypad.js";
import { readingNow } from "../app/logging.js";
import { asSeen, now, OWN } from "../app/state.js";
import { blank, grams } from "../pure/call.js";
import { cautions } from "../pure/cautions.js";
import { beforeSexing, isStated, sexed, unanswered, weighed, withYoung } from "../pure/hatch.js";
import { dayOf } from "../pure/season.js";
import { CONCLUSIONS, HELD_BY, METHODS, SURENESS, TOLD } from "../pure/words.js";
import { some } from "../store/db.js";
import { change } from "../store/sittings.js";
import { general } from "./sheet.js";

export const MOST_GRAMS = 9999.9;
export const SEEN = /** @type {[string, string][]} */ (
  METHODS.eversion.asks.find(([name]) => name === "seen")?.[2]
);

/** What came out of one, and what its examiner concludes, in words.
    @param {Young} one */
export const seenInWords = ({ seen, conclusion }) =>
  seen ? `${named(SEEN, seen)}: ${named(CONCLUSIONS, conclusion).toLowerCase()}` : "";

/** @param {[string, string][]} choices
    @param {string} word */
const named = (choices, word) => choices.find(([one]) => one === word)?.[1] ?? word;

/** One after the other. `is`: whether one is still to be done; `shown`: what is shown of one.
    @param {{ id: string }} where
    @param {string} title
    @param {(one: Young) => boolean} is
    @param {(one: Young, held: Sitting, go: Go) => (HTMLElement | false | null)[]} shown
    @param {(held: Sitting) => string} [first] the animal to begin with
    @returns {Promise<View>} */
async function round({ id }, title, is, shown, first) {
  let held = await sittingOf(id);
  const box = h("div", { class: "round" });
  let at = "";
  let looked = "";
  let going = 0;
  let queue = Promise.resolve();
  const list = () => {
    location.hash = `#/hatch/${id}`;
  };
  const show = (/** @type {Young} */ one) => {
    at = one.animal;
    looked = JSON.stringify([one, unanswered(/** @type {Sitting} */ (held))]);
    box.replaceChildren(
      ...shown(one, /** @type {Sitting} */ (held), goFrom(one)).filter((each) =>
        each instanceof HTMLElement
      ),
    );
  };
  /** One after the other, each of the one that was shown when it was tapped.
      @param {Young} one
      @returns {Go} */
  const goFrom = (one) => (step, on) => {
    going += 1;
    queue = queue.then(() => taken(one, step, on)).catch(failed).finally(() => {
      going -= 1;
    });
    return queue;
  };
  const failed = (/** @type {unknown} */ fault) =>
    box.prepend(h("p", { class: "refused", role: "alert" }, notKept(fault)));
  /** @param {Young} one
      @param {(held: Sitting) => Sitting} step
      @param {boolean} on */
  const taken = async (one, step, on) => {
    await revise(id, step);
    held = await sittingOf(id);
    if (!held) return list();
    const from = held.young.findIndex(({ animal }) => animal === one.animal);
    const next = on ? held.young.slice(from + 1).find(is) : held.young[from];
    if (!next) return list();
    show(next);
    if (on) within(box, "h1").focus();
  };
  const begun = held &&
    (held.young.find(({ animal }) => animal === first?.(/** @type {Sitting} */ (held))) ??
      held.young.find(is));
  if (!held) return gone();
  if (begun) show(begun);
  else {
    box.replaceChildren(
      h("h1", { tabindex: "-1" }, title),
      h("p", {}, "None is left to do."),
      h("div", { class: "bar" }, h("a", { class: "button", href: `#/hatch/${id}` }, "The list")),
    );
  }
  return {
    title,
    update: () => {
      again();
      return true;
    },
    node: h(
      "section",
      { class: "hatch" },
      h("p", { class: "trail" }, h("a", { href: `#/hatch/${id}` }, "The list")),
      box,
    ),
  };
  /** Another tab may have done the one that is shown. */
  async function again() {
    const before = held;
    const found = await sittingOf(id);
    if (!found || held !== before || going) return;
    held = found;
    const one = found.young.find(({ animal }) => animal === at);
    const isSame = looked === JSON.stringify([one, unanswered(found)]);
    if (one && !isSame) show(is(one) ? one : found.young.find(is) ?? one);
  }
}

/** @typedef {(step: (held: Sitting) => Sitting, on: boolean) => Promise<void>} Go changes the sitting,
    and goes `on` to the next, or shows the same again */

/** @param {Young} one
    @param {Sitting} held */
const place = (one, { young }) => `${young.indexOf(one) + 1} of ${young.length}`;

/** @param {{ id: string }} where */
export function hatchWeigh(where) {
  const is = (/** @type {Young} */ one) =>
    !one.grams && !isStated(outboxById().get(one.ids.husbandry_noted));
  return round(
    where,
    "Weigh",
    is,
    (one, held, go) => {
      const said = h("p", { class: "fine", role: "status" });
      const reading = readingNow;
      return [
        head(one, place(one, held)),
        said,
        keypad({
          name: "grams",
          label: "Weight",
          unit: "g",
          step: 0.1,
          most: MOST_GRAMS,
          value: held.keyed?.animal === one.animal ? held.keyed.text : one.grams,
          oninput: (text) =>
            void change(where.id, (kept) => ({ ...kept, keyed: { animal: one.animal, text } })),
          ondone: (text) => {
            if (!grams(text)) {
              said.textContent = "Key in the weight, or say that it is not weighed."; // a second tap is a slip
              return;
            }
            go((kept) => ({
              ...withYoung(kept, one.animal, (young) => weighed(young, text, reading())),
              keyed: null,
            }), true);
          },
          done: "Next",
        }),
        h(
          "p",
          { class: "actions" },
          h("button", {
            type: "button",
            class: "plain",
            onclick: once(() => go((kept) => ({ ...kept, keyed: null }), true)),
          }, "Not weighed"),
        ),
      ];
    },
    (held) => held.keyed?.animal ?? "",
  );
}

/** @param {{ id: string }} where */
export async function hatchSex(where) {
  const today = dayOf(now());
  const held = await sittingOf(where.id);
  const ids = held?.young.map(({ animal }) => animal) ?? [];
  const known = new Map(asSeen(await some("animals", ids)).map((one) => [one.id, one]));
  /** What speaks against checking this one, by what the record has of it.
      @param {Young} one
      @param {Sitting} held */
  const against = (one, { held_by }) => {
    const animal = known.get(one.animal);
    const form = { ...blank({ held_by }), method: "eversion", grams: one.grams };
    const found = animal ? cautions(animal, form, now()) : [];
    return found.length > 0 &&
      h("div", { class: "warnings", role: "status", "aria-label": "Cautions" }, list(found));
  };
  /** @param {Young} one */
  const hasShed = ({ animal }) => known.get(animal)?.condition.shed === "shed";
  const is = (/** @type {Young} */ one) =>
    !one.seen && !isStated(outboxById().get(one.ids.call_made));
  /** @type {Young | null} */
  let last = null;
  return round(where, "Sex them", is, (one, held, go) => [
    head(one, [place(one, held), one.grams && `${one.grams} g`].filter(Boolean).join(" · ")),
    last && before(last, held),
    against(one, held),
    warning(beforeSexing(held.hatched, today, hasShed(one)), unanswered(held)),
    ...asked(held, go),
    general(OWN),
    !unanswered(held) && h(
      "div",
      { class: "bar seen" },
      h("p", { id: "seen" }, "What came out"),
      h(
        "div",
        { class: "picks three", role: "group", "aria-labelledby": "seen" },
        SEEN.map(([word, text]) =>
          h("button", {
            type: "button",
            onclick: once(() => {
              last = one;
              const reading = readingNow();
              go(
                (kept) => withYoung(kept, one.animal, (young) => sexed(young, word, reading)),
                true,
              );
            }),
          }, text)
        ),
      ),
      h("button", {
        type: "button",
        class: "plain",
        onclick: once(() => go((kept) => kept, true)),
      }, "Not checked: next"),
    ),
  ]);
}

/** The second of a double tap is a slip: the next one's button is there by then.
    @param {() => unknown} done
    @returns {(tap: MouseEvent) => void} */
const once = (done) => ({ detail }) => void (detail > 1 || done());

/** @param {Young} one
    @param {string} words */
const head = (one, words) =>
  h(
    "div",
    { class: "head" },
    h("h1", { tabindex: "-1", class: "code" }, one.code),
    h("p", { class: "fine" }, words),
  );

/** Open until the sitting's questions are answered, folded to a line after that.
    @param {string[]} sentences
    @param {boolean} open */
const warning = (sentences, open) =>
  sentences.length > 0 &&
  h(
    "details",
    { class: "warnings", open },
    h("summary", {}, "Before young are sexed"),
    list(sentences),
  );

/** The one before, with what was said of it: a slip is seen at once.
    @param {Young} last
    @param {Sitting} held */
function before(last, held) {
  const one = held.young.find(({ animal }) => animal === last.animal);
  return one
    ? h(
      "p",
      { class: "last", role: "status" },
      `${one.code}: ${seenInWords(one)}. `,
      h("a", { href: `#/hatch/${held.id}/${one.animal}` }, "Change"),
    )
    : null;
}

/** What holds for every check of the sitting, asked once and not answered beforehand.
    @param {Sitting} held
    @param {Go} go */
function asked(held, go) {
  const ask = (
    /** @type {"told" | "held_by" | "sureness"} */ name,
    /** @type {string} */ legend,
    /** @type {[string, string][]} */ options,
  ) =>
    choice({
      name,
      legend,
      options,
      value: held[name],
      onpick: (key) => go((kept) => ({ ...kept, [name]: key }), false),
    });
  const questions = [
    ask("told", "Had anyone told you their sex before you checked?", TOLD),
    ask("held_by", "Who holds them?", HELD_BY),
    ask("sureness", "How sure are you, where you can tell?", SURENESS),
  ];
  if (unanswered(held)) return questions;
  return [
    h("details", { class: "cautions" }, h("summary", {}, "How you check them"), questions),
  ];
}

export function gone() {
  return {
    title: "Hatch day",
    node: h(
      "section",
      {},
      h("h1", { tabindex: "-1" }, "Not here"),
      h("p", {}, "This hatch day was put away, or was begun on another phone."),
      h("p", {}, h("a", { href: "#/hatch" }, "Hatch day")),
    ),
  };
}
