/* Whether this phone makes itself heard and felt. */

import { h } from "../app/dom.js";
import { felt, isOn, SENSES, turn } from "../app/feedback.js";

export function feedback() {
  const ticks = SENSES.map(([sense, label]) => {
    const tick = h("input", {
      type: "checkbox",
      id: sense,
      checked: isOn(sense),
      onchange: (event) => {
        turn(sense, event.target.checked);
        felt();
      },
    });
    return h("p", { class: "tick" }, tick, h("label", { for: sense }, label));
  });
  return h("section", { class: "group" }, h("h2", {}, "Sound and vibration"), ticks);
}
