// Verdicts as elements of a page. Texts are set as text, never as markup.

import { made } from "./made.js";

const BOXES = { holds: "accepted", fails: "refused", unknown: "warnings" };

/** @param {HTMLElement} region
 * @param {Verdict} verdict */
export function say(region, { state, headline, why }) {
  const words = made("p");
  words.append(made("strong", headline), ` ${why}`);
  region.className = BOXES[state];
  region.replaceChildren(words);
}

/** @param {string[][]} pairs */
export function facts(pairs) {
  const list = made("dl", "", "facts");
  for (const [label, value] of pairs) {
    const row = made("div");
    row.append(made("dt", label), made("dd", value));
    list.append(row);
  }
  return list;
}

/** @param {string[]} texts */
export function items(texts) {
  const list = made("ul");
  list.append(...texts.map((one) => made("li", one)));
  return list;
}

/** @param {string} title
 * @param {HTMLElement[]} content */
export function folded(title, ...content) {
  const details = made("details");
  details.append(made("summary", title), ...content);
  return details;
}

/** A region whose changes are read out. */
export function spoken() {
  const region = made("div");
  region.setAttribute("role", "status");
  region.setAttribute("aria-live", "polite");
  return region;
}

/** Runs `work` once at a time. The button is not disabled: it would lose the focus.
 * @param {HTMLButtonElement} button
 * @param {() => Promise<unknown>} work */
export async function busy(button, work) {
  if (button.getAttribute("aria-busy")) return;
  button.setAttribute("aria-busy", "true");
  try {
    await work();
  } finally {
    button.removeAttribute("aria-busy");
  }
}
