/* The passes of a probe: large steps of half a scale, and a strip of whole scales. */

import { choice, h, within } from "../app/dom.js";
import { DEEPEST, MOST_PASSES, stepped } from "../pure/call.js";
import { STOPPED } from "../pure/words.js";

const STRIP = 14; // deepest usual; deeper ones by stepping on

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
    within(box, `[data-field=pass-${form.passes.length - 1}] button`).focus();
  };
  show();
  return box;
}

/** @param {ProbePass} one
    @param {number} n
    @param {() => void} onchange */
function pass(one, n, onchange) {
  const side = one.side === "left" ? "Left" : "Right";
  const shown = h("output", { class: "depth", "aria-live": "polite" });
  const strip = Array.from({ length: STRIP }, (_, at) => mark(at + 1));
  const set = (/** @type {number | null} */ depth) => {
    one.depth = depth;
    show();
    onchange();
  };
  const show = () => {
    shown.textContent = one.depth === null
      ? "Not probed"
      : `${one.depth} scale${one.depth === 1 ? "" : "s"}`;
    strip.forEach((button, at) =>
      button.setAttribute("aria-pressed", String(one.depth === at + 1))
    );
    less.disabled = one.depth === null;
    more.disabled = one.depth === DEEPEST;
  };
  const less = step("−", `${side}: half a scale less`, () => set(stepped(one.depth, -1)));
  const more = step("+", `${side}: half a scale more`, () => set(stepped(one.depth, 1)));
  /** @param {number} depth */
  function mark(depth) {
    return h("button", {
      type: "button",
      "aria-label": `${side}: ${depth} scale${depth === 1 ? "" : "s"}`,
      onclick: () => set(depth),
    }, depth);
  }
  show();
  return h(
    "fieldset",
    { class: "pass", "data-field": `pass-${n}` },
    h("legend", {}, n < 2 ? side : `${side}, pass ${n + 1}`),
    h("div", { class: "stepper" }, less, shown, more),
    h("div", { class: "strip" }, strip),
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

/** @param {string} sign
    @param {string} label
    @param {() => void} onclick */
const step = (sign, label, onclick) =>
  h("button", { type: "button", class: "step", "aria-label": label, onclick }, sign);
