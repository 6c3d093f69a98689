/* What the examiner saw: the passes of a probe, or what another method asks. */

import { choice, h, line } from "../app/dom.js";
import { keypad } from "../app/keypad.js";
import { unusual } from "../pure/call.js";
import * as m from "../pure/words.js";
import { passes } from "./passes.js";

/** @type {m.Choice[]} */
const YES_NO = [["yes", "Yes"], ["no", "No"]];
const COUNT = 400; // the most of a count that names no other

/** `show` asks what the method of the form asks, after another was chosen.
    @param {CallForm} form
    @param {Animal} animal
    @param {() => void} changed */
export function observed(form, animal, changed) {
  const asked = h("div", {});
  const insist = insisted(form, animal, changed);
  const change = () => {
    insist.show();
    changed();
  };
  const show = () => {
    asked.replaceChildren(
      ...(form.method === "probing" ? [passes(form, change)] : questions(form, change)),
    );
    insist.show();
  };
  show();
  return { nodes: [asked, insist.node], show };
}

/** A tick to insist on a depth that no source gives; not there where there is none.
    @param {CallForm} form
    @param {Animal} animal
    @param {() => void} change */
function insisted(form, animal, change) {
  const why = h("p", { class: "fine" });
  const tick = h("input", {
    type: "checkbox",
    id: "unusual",
    checked: Boolean(form.unusual),
    onchange: (event) => {
      form.unusual = event.target.checked;
      change();
    },
  });
  const node = h(
    "div",
    { class: "field", "data-field": "unusual" },
    why,
    h(
      "span",
      { class: "pick" },
      tick,
      h("label", { for: "unusual" }, "It did go that deep: I counted again"),
    ),
  );
  const show = () => {
    why.textContent = unusual(form, animal.species.key);
    node.hidden = !why.textContent;
    if (node.hidden) form.unusual = tick.checked = false;
  };
  show();
  return { node, show };
}

/** @param {CallForm} form
    @param {() => void} change */
function questions(form, change) {
  return m.METHODS[form.method].asks.map(([name, brief, kind, spare, most = COUNT]) => {
    const label = spare ? `${brief}, if you know` : brief;
    const value = form.answers[name] ?? "";
    const answer = (/** @type {string} */ given) => {
      form.answers[name] = given;
      change();
    };
    if (kind === "count") {
      return keypad({ name, label, value, most, close: true, oninput: answer });
    }
    if (kind === "text") {
      return line({ name, label, value, oninput: (event) => answer(event.target.value) });
    }
    const options = kind === "yes_or_no" ? YES_NO : kind;
    return choice({ name, legend: label, options, value, onpick: answer });
  });
}
