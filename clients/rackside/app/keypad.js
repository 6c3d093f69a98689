/* A number by our own keys: no keyboard comes up over the form, and a glove hits each key. */

import { BACK, fits, HALF, POINT, pressed } from "../pure/keys.js";
import { fresh, h } from "./dom.js";

const DIGITS = ["1", "2", "3", "4", "5", "6", "7", "8", "9"];
/** @type {Record<number, [string, string, string][]>} */
const STEPS = { 1: [], 0.5: [[HALF, "½", "half"]], 0.1: [[POINT, ".", "point"]] };

/** A field with keys of its own; a keyboard that is attached types in it as well. `value` and what
    `oninput` is told: digits with a point at most ("9.5"), "" where nothing is typed. `step` 0.5 has
    a key "½", 0.1 a point; no number over `most` can be typed. `ondone` gives it a wide last key with
    the words `done`. `close` makes it as low as it can be.
    @param {AskedKeypad} asked */
export function keypad(
  {
    name,
    label,
    value = "",
    step = 1,
    unit = "",
    most,
    oninput,
    ondone,
    done = "Done",
    close,
    help,
  },
) {
  const id = fresh(name);
  const of = { step, most };
  let text = value;
  const input = h("input", {
    id,
    name,
    value,
    inputmode: "none",
    autocomplete: "off",
    enterkeyhint: "done",
    "aria-describedby": help ? `${id}-help` : null,
    oninput: () => typed(),
  });
  const set = (/** @type {string} */ next) => {
    text = next;
    if (input.value !== next) input.value = next;
    oninput(next);
  };
  const typed = () => {
    const given = input.value.trim().replace(",", ".");
    if (given === text) return;
    if (fits(given, of)) set(given);
    else input.value = text;
  };
  const key = (/** @type {string} */ means, /** @type {string} */ shows, said = shows) =>
    h("button", {
      type: "button",
      class: means === "0" ? "key zero" : "key",
      "aria-label": said === shows ? null : said,
      onclick: () => set(pressed(text, means, of)),
    }, shows);
  return h(
    "div",
    { class: close ? "field keypad close" : "field keypad", "data-field": name },
    h("label", { for: id }, label),
    help && h("p", { class: "help", id: `${id}-help` }, help),
    h("div", { class: "typed" }, input, unit && h("span", { class: "unit" }, unit)),
    h(
      "div",
      { class: "keys", role: "group", "aria-label": "Keys" },
      DIGITS.map((digit) => key(digit, digit)),
      STEPS[step].map(([means, shows, said]) => key(means, shows, said)),
      key("0", "0"),
      key(BACK, "⌫", "delete"),
    ),
    ondone && h("button", { type: "button", class: "done", onclick: () => ondone(text) }, done),
  );
}
