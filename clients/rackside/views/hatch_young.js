/* One of the young on a hatch day: what was noted of it, put right before it is stated. */

import { choice, h, line } from "../app/dom.js";
import { outboxById, revise, sittingOf } from "../app/hatching.js";
import { keypad } from "../app/keypad.js";
import { readingNow } from "../app/logging.js";
import { ownAnimal } from "../app/state.js";
import { newId } from "../net/keys.js";
import { isRegistered, isStated, sexed, statedOf, weighed, withYoung } from "../pure/hatch.js";
import { words } from "../pure/outbox.js";
import { CAUTIONS, CONCLUDED_OF_EVERTED, CONCLUSIONS } from "../pure/words.js";
import { some } from "../store/db.js";
import { change } from "../store/sittings.js";
import { harm } from "./call_fields.js";
import { gone, MOST_GRAMS, SEEN } from "./hatch_rounds.js";
import { photos } from "./photos.js";

/** @param {{ id: string, animal: string }} where
    @returns {Promise<View>} */
export async function hatchYoung({ id, animal }) {
  const held = await sittingOf(id);
  const one = held?.young.find((each) => each.animal === animal);
  if (!held || !one) return gone();
  const outbox = outboxById();
  const stated = statedOf(one, outbox);
  const registered = isRegistered(one, outbox);
  /** @type {(step: (young: Young) => Young, more?: { files?: PhotoFile[], unneeded?: string[] }) => Promise<void>} */
  const put = (step, more) => revise(id, (kept) => withYoung(kept, animal, step), more);
  const known = registered && await ownAnimal(animal);
  let keyed = held.keyed?.animal === animal ? held.keyed.text : null;
  const keep = async () => {
    if (keyed === null) return;
    const text = keyed;
    keyed = null;
    const reading = one.weighed ?? readingNow(); // putting it right does not move its time
    await revise(id, (kept) => ({
      ...withYoung(kept, animal, (young) => weighed(young, text, reading)),
      keyed: null,
    }));
  };
  return {
    title: one.code,
    editing: true,
    leave: keep,
    node: h(
      "section",
      { class: "hatch" },
      h("p", { class: "trail" }, h("a", { href: `#/hatch/${id}` }, "The list")),
      h("h1", { tabindex: "-1", class: "code" }, one.code),
      Object.values(stated).map((record) =>
        h(
          "p",
          { class: "state", "data-state": record.state },
          `${record.shown.line}: ${words(record)}`,
        )
      ),
      Object.values(stated).some(isStated) &&
        h(
          "p",
          { class: "fine" },
          "What was stated is changed or taken back under ",
          h("a", { href: "#/calls" }, "Entries"),
          ".",
        ),
      !isStated(stated.call_made) && seen(one, put),
      !isStated(stated.husbandry_noted) && !one.known && weight(keyed ?? one.grams, (text) => {
        keyed = text;
        change(id, (kept) => ({ ...kept, keyed: { animal, text } }));
      }),
      !isStated(stated.call_made) && signs(one, put),
      !registered && code(one, put),
      await pictures(one, put),
      h(
        "p",
        { class: "actions" },
        known &&
          h("a", { class: "button plain", href: `#/log/own/${animal}` }, "Log another check"),
        !registered && h("button", {
          type: "button",
          class: "plain",
          onclick: async () => {
            await revise(
              id,
              (kept) => ({ ...kept, young: kept.young.filter((each) => each.animal !== animal) }),
              { unneeded: one.photos.map(({ file }) => file) },
            );
            location.hash = `#/hatch/${id}`;
          },
        }, "Leave it out of the list"),
      ),
      h("div", { class: "bar" }, h("a", { class: "button", href: `#/hatch/${id}` }, "Done")),
    ),
  };
}

/** @typedef {(
      step: (young: Young) => Young, more?: { files?: PhotoFile[], unneeded?: string[] },
    ) => Promise<void>} Put */

/** What came out, and what follows from that; the latter can be changed.
    @param {Young} one
    @param {Put} put */
function seen(one, put) {
  const box = h("div", {});
  const conclude = (/** @type {string} */ what, /** @type {string} */ conclusion) =>
    box.replaceChildren(
      ...(what
        ? [choice({
          name: "conclusion",
          legend: "Conclusion",
          options: CONCLUSIONS.filter(([word]) => CONCLUDED_OF_EVERTED[what].includes(word)),
          value: conclusion,
          onpick: (word) => put((young) => ({ ...young, conclusion: word })),
        })]
        : []),
    );
  conclude(one.seen, one.conclusion);
  return h(
    "div",
    {},
    choice({
      name: "seen",
      legend: "What came out",
      options: [...SEEN, ["", "Not checked"]],
      value: one.seen,
      onpick: (word) => {
        const reading = one.sexed ?? readingNow(); // putting it right does not move its time
        conclude(word, sexed(one, word, reading).conclusion);
        put((young) => sexed(young, word, reading));
      },
    }),
    box,
  );
}

/** What the check may have done to it.
    @param {Young} one
    @param {Put} put */
function signs(one, put) {
  const form = { harm: one.harm ?? [] };
  const caution = h("p", { class: "warnings", role: "status" }, CAUTIONS.harm);
  const show = () => caution.hidden = !form.harm.length;
  show();
  const asked = harm(form, () => {
    show();
    put((young) => ({ ...young, harm: form.harm }));
  });
  return [asked, caution];
}

/** @param {string} value
    @param {(text: string) => void} oninput */
const weight = (value, oninput) =>
  keypad({
    name: "grams",
    label: "Weight",
    unit: "g",
    step: 0.1,
    most: MOST_GRAMS,
    close: true,
    value,
    oninput,
  });

/** @param {Young} one
    @param {Put} put */
function code(one, put) {
  return line({
    name: "code",
    label: "Code of its tub",
    value: one.code,
    maxlength: 40,
    autocomplete: "off",
    autocapitalize: "characters",
    oninput: ({ target }) => put((young) => ({ ...young, code: target.value.trim() })),
  });
}

/** @param {Young} one
    @param {Put} put */
async function pictures(one, put) {
  const files = await some("photos", one.photos.map(({ file }) => file));
  /** @type {Map<ArrayBuffer, string>} */
  const known = new Map(files.map(({ id, bytes }) => [bytes, id]));
  const shown = { photos: [...known.keys()] };
  return photos(/** @type {CallForm} */ (/** @type {unknown} */ (shown)), () => {
    const come = shown.photos.filter((bytes) => !known.has(bytes))
      .map((bytes) => ({ id: newId(), bytes }));
    const left = [...known].filter(([bytes]) => !shown.photos.includes(bytes));
    come.forEach(({ id, bytes }) => known.set(bytes, id));
    left.forEach(([bytes]) => known.delete(bytes));
    const away = left.map(([, id]) => id);
    put((young) => ({
      ...young,
      photos: [
        ...young.photos.filter(({ file }) => !away.includes(file)),
        ...come.map(({ id }) => ({ file: id, fact: newId() })),
      ],
    }), { files: come, unneeded: away });
  });
}
