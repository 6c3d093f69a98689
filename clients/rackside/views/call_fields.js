/* The fields of a call in the order of the hand: which animal, how, what was seen, what it means.
   What may be left out is folded. */

import { choice, fold, group, h, line, menu } from "../app/dom.js";
import { keypad } from "../app/keypad.js";
import { concludes } from "../pure/call.js";
import { tagOf } from "../pure/search.js";
import * as m from "../pure/words.js";
import { observed } from "./observed.js";
import { photos } from "./photos.js";
import { reported } from "./reported.js";

const HEAVIEST = 999_999.9; // grams, as the log takes

/** `before`: the call from which some of the form was carried over; `change` is called after each
    change. `read` fills in how the animal was identified, and by which code.
    @param {CallForm} form
    @param {{ animal: Animal, isOwn: boolean, before: CallForm | null, change: () => void }} how */
export function fields(form, { animal, isOwn, before, change }) {
  const set = (/** @type {TextMember} */ name) => (/** @type {string} */ value) => {
    form[name] = value;
    change();
  };
  /** @type {PickOf} */
  const pick = (name, legend, options, more = {}) =>
    choice({ name, legend, options, value: form[name], onpick: set(name), ...more });
  /** @type {TypeOf} */
  const type = (name, label, more) =>
    line({
      name,
      label,
      value: form[name],
      oninput: (event) => set(name)(event.target.value),
      ...more,
    });
  const by = isOwn ? reported(form, pick, type, change) : null;
  const concluded = [
    pick("conclusion", "Conclusion", m.CONCLUSIONS),
    pick("sureness", "How sure", m.SURENESS),
  ];
  const seen = observed(form, animal, () => changed());
  const which = identified(form, animal, { pick, type, change });
  const probe = type("probe_mm", "Width of the probe in mm, if you know it", {
    inputmode: "decimal",
  });
  const show = () => {
    probe.hidden = form.method !== "probing";
    for (const one of concluded) one.hidden = concludes(form);
    by?.show();
  };
  const changed = () => {
    show();
    change();
  };
  const method = methods(form, isOwn, () => {
    seen.show();
    changed();
  });
  const held = pick("held_by", "Who holds it", m.HELD_BY);
  const told = pick("told", "Who had told you its sex before", m.TOLD);
  show();
  return {
    read: which.read,
    nodes: [
      fold("Last meal, shed and weight", isGiven(form, ["meal", "shed", "grams"]), [
        pick("meal", "Last meal", m.MEAL),
        pick("shed", "In shed", m.SHED),
        keypad({
          name: "grams",
          label: "Weight in grams, if weighed",
          value: form.grams,
          step: 0.1,
          unit: "g",
          most: HEAVIEST,
          oninput: set("grams"),
        }),
      ]),
      group("Which animal", ...which.nodes),
      isAsBefore(form, before)
        ? fold(asBefore(form), false, [method, probe, held, told], "carried")
        : group("How", method, probe, held, told),
      group("What you saw", ...seen.nodes, ...concluded),
      ...(by ? [by.node] : []),
      fold("Harm, note and photo", form.harm.length > 0 || isGiven(form, ["note", "photos"]), [
        harm(form, change),
        note(form, change),
        photos(form, change),
      ]),
    ],
  };
}

/** @param {CallForm} form
    @param {(keyof CallForm)[]} names */
const isGiven = (form, names) =>
  names.some((name) => /** @type {{ length: number } | undefined} */ (form[name])?.length);

/** @param {CallForm} form
    @param {CallForm | null} before */
const isAsBefore = (form, before) =>
  before !== null && form.told === "no" &&
  ["method", "held_by", "told"].every((name) =>
    form[/** @type {TextMember} */ (name)] === before[/** @type {TextMember} */ (name)]
  );

/** @param {CallForm} form */
function asBefore(form) {
  const held = m.HELD_BY.find(([key]) => key === form.held_by)?.[1].toLowerCase();
  return [
    `As in your last call: ${m.METHODS[form.method].title.toLowerCase()}`,
    form.method === "probing" && form.probe_mm && `a probe ${form.probe_mm} mm wide`,
    held && `who holds it: ${held}`,
    "nobody had told you its sex",
  ].filter(Boolean).join("; ");
}

/** Which animal it was: its tub's tag is there to be confirmed, a transponder's number is read.
    @param {CallForm} form
    @param {Animal} animal
    @param {{ pick: PickOf, type: TypeOf, change: () => void }} how */
function identified(form, animal, { pick, type, change }) {
  const tag = tagOf(animal);
  const code = type("code", "The code you read", {
    autocomplete: "off",
    autocapitalize: "characters",
  });
  const input = /** @type {HTMLInputElement} */ (code.querySelector("input"));
  const show = () => {
    code.hidden = !["tag", "transponder"].includes(form.identified);
    input.value = form.code;
  };
  const read = (/** @type {string} */ how, /** @type {string} */ text) => {
    form.identified = how;
    form.code = text;
    for (const one of picks.querySelectorAll("input")) one.checked = one.value === how;
    show();
    change();
  };
  const options = m.IDENTIFIED.map((
    [key, label],
  ) => /** @type {m.Choice} */ ([key, key === "tag" && tag ? `${label}: ${tag}` : label]));
  const picks = pick("identified", "How you knew it", options, {
    onpick: (how) => read(how, how === "tag" ? tag : ""),
  });
  show();
  return { nodes: [picks, code], read };
}

/** @param {CallForm} form
    @param {boolean} isOwn
    @param {() => void} changed */
function methods(form, isOwn, changed) {
  return menu({
    name: "method",
    label: "Method",
    value: form.method,
    options: Object.entries(m.METHODS)
      .filter(([, { atRack }]) => isOwn || atRack)
      .map(([key, one]) => [key, one.title]),
    onpick: (value) => {
      form.method = value;
      form.answers = {};
      changed();
    },
  });
}

/** @param {{ harm: string[] }} form
    @param {() => void} change */
export function harm(form, change) {
  const ticks = m.HARM.map(([key, label]) => {
    const input = h("input", {
      type: "checkbox",
      id: `harm-${key}`,
      checked: form.harm.includes(key),
      onchange: (event) => {
        form.harm = m.HARM.map(([one]) => one).filter((
          one,
        ) => (one === key ? event.target.checked : form.harm.includes(one)));
        change();
      },
    });
    return h("span", { class: "pick" }, input, h("label", { for: `harm-${key}` }, label));
  });
  return h(
    "fieldset",
    { class: "field" },
    h("legend", {}, "Any sign of harm"),
    h("div", { class: "picks" }, ticks),
  );
}

/** @param {CallForm} form
    @param {() => void} change */
const note = (form, change) =>
  h(
    "div",
    { class: "field" },
    h("label", { for: "note" }, "Note"),
    h("textarea", {
      id: "note",
      rows: 3,
      maxlength: 3500,
      oninput: (event) => {
        form.note = event.target.value;
        change();
      },
    }, form.note),
  );
