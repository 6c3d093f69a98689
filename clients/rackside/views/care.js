/* One note of care of one of one's own animals: a weight by our own keys, words, or a meal or a shed
   that is changed before it is sent. */

import { note, statedOf } from "../app/caring.js";
import { choice, h } from "../app/dom.js";
import { keypad } from "../app/keypad.js";
import { awaitsBlind, now, ownAnimal, state } from "../app/state.js";
import { isFar, last, line, MEALS, notes, SHEDS, weight } from "../pure/care.js";
import { title } from "../pure/search.js";
import { isBlind } from "../pure/sight.js";
import { factsOf } from "../store/facts.js";
import { gone, titleLink } from "./animal.js";

/** @import { Noted } from "../pure/care.js" */

const LONGEST = 2000; // characters, as the record takes
const HEAVIEST = 999_999; // grams, as the log writes them
const HEADINGS = { weight: "Weight", meal: "Meal", shed: "Shed", remark: "Note" };

/** `from`: the entry that is changed by it.
    @param {{ id: string, what: "weight" | "meal" | "shed" | "remark", from?: string }} where */
export async function care({ id, what, from }) {
  const animal = await ownAnimal(id);
  if (!animal || isBlind(animal)) return gone();
  const before = state.outbox.find((one) => one.id === from)?.fact;
  const noted = notes(await factsOf(id), statedOf(id).filter((one) => one.id !== from));
  const [latest] = last(noted, now()).filter(([label]) => label.startsWith(HEADINGS[what]));
  const said = h("p", { role: "status", class: "fine" });
  const save = async (/** @type {Noted | null} */ made, text = "") => {
    if (!made || (made.type === "remark" && !text.trim())) {
      said.textContent = made ? "Write what you noticed." : "Give the weight in grams.";
      return;
    }
    await note([{ animal, noted: made, text }], {
      said: `${title(animal)}: ${line(made).toLowerCase()}, saved here.`,
      hash: `#/own/${id}`,
    });
  };
  const asked = { before, save, said, grams: latest?.[1] };
  return {
    title: HEADINGS[what],
    update: () => !awaitsBlind([id]),
    node: h(
      "section",
      { class: "one-note" },
      h("h1", { tabindex: "-1" }, `${HEADINGS[what]} of `, titleLink(animal)),
      latest && h("p", {}, `Last: ${latest.slice(latest[1] ? 1 : 0).filter(Boolean).join(", ")}.`),
      said,
      FORMS[what](asked),
    ),
  };
}

/** @typedef {{
      before: Fact | undefined, said: HTMLElement, grams?: string,
      save: (noted: Noted | null, text?: string) => Promise<void>,
    }} AskedNote */

/** @type {Record<string, (asked: AskedNote) => HTMLElement>} */
const FORMS = {
  weight: ({ before, save, said, grams }) =>
    keypad({
      name: "grams",
      label: "Grams",
      value: before?.body.noted.grams ?? "",
      step: 0.1,
      unit: "g",
      most: HEAVIEST,
      done: "Save",
      oninput: (typed) => {
        said.textContent = isFar(typed, grams)
          ? `That is far from the last, ${grams}. Save it if it is so.`
          : "";
      },
      ondone: (typed) => save(weight(typed)),
    }),
  meal: ({ before, save }) =>
    picked("meal", "Was it taken?", MEALS, before && mealOf(before), save),
  shed: ({ before, save }) => picked("shed", "Where is it?", SHEDS, before?.body.noted.stage, save),
  remark: ({ before, save }) => {
    const text = h("textarea", { id: "remark", rows: 4, maxlength: LONGEST });
    text.value = before?.texts?.note.text ?? "";
    return h(
      "div",
      { class: "field" },
      h("label", { for: "remark" }, "What you noticed"),
      h("p", { class: "help" }, "Only you can read it; the log has its fingerprint."),
      text,
      h(
        "div",
        { class: "bar" },
        h("button", {
          type: "button",
          onclick: () => save({ type: "remark" }, text.value),
        }, "Save"),
      ),
    );
  },
};

/** @param {Fact} fact */
const mealOf = ({ body }) => (body.noted.taken ? "taken" : "refused");

/** @param {string} name
    @param {string} legend
    @param {[string, string, Noted][]} offered
    @param {string | undefined} value
    @param {AskedNote["save"]} save */
function picked(name, legend, offered, value, save) {
  return choice({
    name,
    legend,
    options: offered.map(([key, words]) => [key, words]),
    value,
    onpick: (key) => save(offered.find(([one]) => one === key)?.[2] ?? null),
  });
}
