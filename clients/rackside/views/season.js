/* The season of one planned pairing: what one sees of it is noted with one tap. */

import { h, line } from "../app/dom.js";
import { saveNote } from "../app/logging.js";
import { announce } from "../app/shell.js";
import { oneAtATime } from "../app/stating.js";
import { now, seasonTold, state } from "../app/state.js";
import { undo } from "../app/undo.js";
import { words } from "../pure/outbox.js";
import {
  dayOf,
  eventWord,
  isNoted,
  noteBody,
  noteLine,
  notesOn,
  offered,
  often,
  titled,
  withWhom,
} from "../pure/season.js";
import { isUntried } from "../pure/undo.js";
import { COUNTS } from "../pure/words.js";

/** @param {{ id: string }} where */
export function season({ id }) {
  const pairing = seasonTold().find((one) => one.id === id);
  if (!pairing) return gone();
  const here = titled(pairing);
  const said = h("p", { role: "alert" });
  const noted = h("ul", { class: "calls" });
  /** @type {[HTMLElement, string][]} */
  const taps = [];
  const show = () => {
    const today = dayOf(now());
    taps.forEach(([tap, what]) =>
      tap.toggleAttribute("disabled", isNoted(current(pairing), state.outbox, what, today))
    );
    noted.replaceChildren(...notesOn(current(pairing), state.outbox, today).map(noteRow(pairing)));
  };
  const rows = offered(pairing).map(([what, , counted, caution]) => {
    /** @type {Record<string, string>} */
    const typed = {};
    const tap = h("button", {
      type: "button",
      onclick: async () => {
        const made = noteBody(what, dayOf(now()), typed);
        said.textContent = made ? "" : "That is no count: a whole number, or nothing.";
        if (!made) return;
        tap.toggleAttribute("disabled", true); // a second tap is a slip
        await note(pairing, made);
      },
    }, `${eventWord(what)}, today`);
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
    update: () => seasonTold().some((one) => one.id === id) && (show(), true),
    node: h(
      "section",
      {},
      h("p", { class: "trail" }, h("a", { href: "#/own" }, "Animals")),
      h("h1", { tabindex: "-1" }, `${here}, ${pairing.season}`),
      h("p", { class: "fine" }, "A tap notes it for today. Another day is noted on the pages."),
      said,
      h("ul", { class: "animals" }, rows),
      h("h2", {}, "Noted today"),
      noted,
      h(
        "p",
        { class: "actions" },
        h("a", { class: "button plain", href: `#/hatch/new?pairing=${id}` }, "Hatch day"),
      ),
    ),
  };
}

/** What is planned with an animal, and what is noted oftenest of it, one tap each.
    @param {KeptPairing} pairing
    @param {string} animal */
export function seasonTaps(pairing, animal) {
  const today = dayOf(now());
  return h(
    "div",
    { class: "card" },
    h("p", {}, `${pairing.season} ${withWhom(pairing, animal)}`),
    h(
      "p",
      { class: "actions" },
      often(pairing).map(([what]) => {
        const tap = h("button", {
          type: "button",
          class: "plain",
          disabled: isNoted(pairing, state.outbox, what, today),
          onclick: () => {
            tap.toggleAttribute("disabled", true); // a second tap is a slip
            return note(pairing, { what, on: today });
          },
        }, eventWord(what));
        return tap;
      }),
      h("a", { class: "button plain", href: `#/season/${pairing.id}` }, "All of the season"),
    ),
    often(pairing).map(([, , , caution]) => caution && h("p", { class: "fine" }, caution)),
  );
}

const note = oneAtATime(
  /** @param {KeptPairing} pairing
      @param {Record<string, unknown>} made */
  async (pairing, made) => {
    const said = { made, line: noteLine(made), title: titled(pairing) };
    const id = await saveNote(pairing, { kind: "season_noted", ...said });
    announce(`${said.line}: saved here.`, location.hash, { undo: [id] });
  },
);

/** As it is kept now.
    @param {KeptPairing} pairing */
const current = (pairing) => state.season.find(({ id }) => id === pairing.id) ?? pairing;

/** A note of today, which can still be taken back, or is withdrawn where it was sent.
    @param {KeptPairing} pairing */
const noteRow = (pairing) => (/** @type {ReturnType<typeof notesOn>[number]} */ one) => {
  const { id, what, record } = one;
  const press = h("button", {
    type: "button",
    class: "plain",
    onclick: async () => {
      press.disabled = true;
      if (record && isUntried(record)) {
        const { told } = await undo([id]);
        return announce(told, location.hash);
      }
      const line = `Withdrawn: ${eventWord(what).toLowerCase()}`;
      const told = { made: { noted: id }, line, title: titled(pairing) };
      const made = await saveNote(pairing, { kind: "season_note_withdrawn", ...told });
      announce(`${line}: saved here.`, location.hash, { undo: [made] });
    },
  }, "It was not so");
  return h(
    "li",
    { class: "card" },
    h("p", {}, record?.shown.line ?? eventWord(what)),
    record && h("p", { class: "state", "data-state": record.state }, words(record)),
    id && h("p", { class: "actions" }, press),
  );
};

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
