/* The season of one planned pairing: what one sees of it is noted with one tap. */

import { h, line } from "../app/dom.js";
import { saveNote } from "../app/logging.js";
import { now, state } from "../app/state.js";
import { words } from "../pure/outbox.js";
import { dayOf, isNoted, noteBody, noteLine, offered, titled } from "../pure/season.js";
import { COUNTS } from "../pure/words.js";

/** @param {{ id: string }} where */
export function season({ id }) {
  const pairing = state.season.find((one) => one.id === id);
  if (!pairing) return gone();
  const here = titled(pairing);
  const said = h("p", { role: "status" });
  const stored = h("ul", { class: "calls" });
  /** @type {[HTMLElement, string][]} */
  const taps = [];
  const show = () => {
    const today = dayOf(now());
    taps.forEach(([tap, what]) =>
      tap.toggleAttribute("disabled", isNoted(current(pairing), state.outbox, what, today))
    );
    stored.replaceChildren(...notesOf(id));
  };
  const rows = offered(pairing).map(([what, name, counted, caution]) => {
    /** @type {Record<string, string>} */
    const typed = {};
    const tap = h("button", {
      type: "button",
      onclick: async () => {
        const made = noteBody(what, dayOf(now()), typed);
        if (!made) {
          said.textContent = "That is no count: a whole number, or nothing.";
          return;
        }
        tap.toggleAttribute("disabled", true); // a second tap is a slip
        said.textContent = `${noteLine(made)}: saved here.`;
        await saveNote(pairing, { made, line: noteLine(made), title: here });
      },
    }, `${name[0].toUpperCase()}${name.slice(1)}, today`);
    taps.push([tap, what]);
    return h(
      "li",
      { class: "card" },
      counted.map((one) =>
        line({
          name: `${what}-${one}`,
          label: COUNTS[one],
          oninput: ({ target }) => typed[one] = target.value,
          inputmode: "decimal",
        })
      ),
      h("p", { class: "actions" }, tap),
      caution && h("p", { class: "fine" }, caution),
    );
  });
  show();
  return {
    title: "Season",
    update: () => state.season.some((one) => one.id === id) && (show(), true),
    node: h(
      "section",
      {},
      h("p", { class: "trail" }, h("a", { href: "#/own" }, "Animals")),
      h("h1", { tabindex: "-1" }, `${here}, ${pairing.season}`),
      h("p", { class: "fine" }, "A tap notes it for today. Another day is noted on the pages."),
      said,
      h("ul", { class: "animals" }, rows),
      h("h2", {}, "Noted on this phone"),
      stored,
    ),
  };
}

/** As it is kept now.
    @param {KeptPairing} pairing */
const current = (pairing) => state.season.find(({ id }) => id === pairing.id) ?? pairing;

/** @param {string} pairing */
const notesOf = (pairing) =>
  state.outbox
    .filter(({ fact }) => fact.kind === "season_noted" && fact.about === pairing)
    .map((one) =>
      h(
        "li",
        { class: "card" },
        h("p", {}, one.shown.line),
        h("p", { class: "state", "data-state": one.state }, words(one)),
      )
    );

function gone() {
  return {
    title: "Season",
    node: h(
      "section",
      {},
      h("h1", { tabindex: "-1" }, "Not here"),
      h("p", {}, "This pairing is not planned, or not yours to see, as far as this phone knows."),
      h("p", {}, h("a", { href: "#/own" }, "Animals")),
    ),
  };
}
