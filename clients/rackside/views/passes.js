/* The passes of a probe: a depth by the half-scale keypad, and what stopped it. */

import { choice, h, within } from "../app/dom.js";
import { keypad } from "../app/keypad.js";
import { DEEPEST, MOST_PASSES } from "../pure/call.js";
import { STOPPED } from "../pure/words.js";

/** `form.passes` is changed in place; `onchange` is called after each change.
    @param {CallForm} form
    @param {() => void} onchange */
export function passes(form, onchange) {
  const box = h("div", { class: "passes" });
  const show = () => {
    const more = form.passes.length < MOST_PASSES;
    box.replaceChildren(
      ...form.passes.map((one, n) => pass(one, n, onchange)),
      h(
        "p",
        { class: "actions" },
        more && ["left", "right"].map((side) =>
          h("button", {
            type: "button",
            class: "plain",
            onclick: () => add(side),
          }, `Another pass ${side}`)
        ),
      ),
    );
  };
  const add = (/** @type {string} */ side) => {
    form.passes.push({ side, depth: null, stopped: "" });
    onchange();
    show();
    within(box, `[data-field=pass-${form.passes.length - 1}] input`).focus();
  };
  show();
  return box;
}

/** @param {ProbePass} one
    @param {number} n
    @param {() => void} onchange */
function pass(one, n, onchange) {
  const side = one.side === "left" ? "Left" : "Right";
  const name = n < 2 ? side : `${side}, pass ${n + 1}`;
  return h(
    "fieldset",
    { class: "pass", "data-field": `pass-${n}` },
    h("legend", {}, name),
    keypad({
      name: `depth-${n}`,
      label: `${name}: depth in scales`,
      value: one.depth === null ? "" : String(one.depth),
      step: 0.5,
      unit: "scales",
      most: DEEPEST,
      close: true,
      oninput: (text) => {
        one.depth = text === "" ? null : Number(text);
        onchange();
      },
    }),
    choice({
      name: `stopped-${n}`,
      legend: "What stopped it",
      options: STOPPED,
      value: one.stopped,
      onpick: (value) => {
        one.stopped = value;
        onchange();
      },
    }),
  );
}
