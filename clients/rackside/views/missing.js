/* What a form still needs, told in place. */

import { h, list, within } from "../app/dom.js";

/** Puts a dot at each place that is still to be answered.
    @param {HTMLElement} node
    @param {[string, string][]} lacking */
export function dots(node, lacking) {
  const names = new Set(lacking.map(([name]) => name));
  for (const one of node.querySelectorAll("[data-field]")) {
    const { field } = /** @type {HTMLElement} */ (one).dataset;
    one.toggleAttribute("data-missing", names.has(field ?? ""));
  }
}

/** Says what is missing, marks the places and leads to the first of them.
    @param {HTMLElement} box
    @param {HTMLElement} node
    @param {[string, string][]} lacking */
export function tell(box, node, lacking) {
  node.querySelectorAll(".wrong").forEach((one) => one.classList.remove("wrong"));
  node.querySelectorAll(".why").forEach((one) => one.remove());
  box.hidden = !lacking.length;
  box.replaceChildren(list(lacking.map(([, sentence]) => sentence)));
  const places = lacking.map(([name, sentence]) =>
    mark(node.querySelector(`[data-field="${name}"]`), sentence)
  );
  const first = places.find((one) => one !== null);
  const control = first && within(first, "input, button:not(:disabled)");
  if (control) control.focus();
  else if (lacking.length) box.focus();
}

/** @param {Element | null} place
    @param {string} sentence */
function mark(place, sentence) {
  if (!place) return null;
  place.classList.add("wrong");
  place.closest("details")?.setAttribute("open", "");
  within(place, "legend, label").after(h("p", { class: "why" }, sentence));
  return place;
}
