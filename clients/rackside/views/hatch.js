/* Hatch days: those under way, where to begin one, and young that are registered and can be sexed. */

import { finder, h } from "../app/dom.js";
import { keeper, pairingsTold, seenWhole } from "../app/hatching.js";
import { now, state } from "../app/state.js";
import { newId } from "../net/keys.js";
import { clutches, dayInWords, hatchedWord, reopen, span } from "../pure/hatch.js";
import { find, title } from "../pure/search.js";
import { titled } from "../pure/season.js";
import { put, sittings } from "../store/sittings.js";

const SHOWN = 12; // animals at a time, to choose a parent from
const CLUTCHES = 6;

/** `role`: which parent is chosen; `dam`: who was chosen before.
    @param {{ role?: "dam" | "sire", dam?: string }} given */
export async function hatch({ role, dam = "" }) {
  const own = await seenWhole();
  const held = await sittings(keeper());
  const at = state.refreshed;
  const count = held.length;
  return {
    title: "Hatch day",
    update: () => state.refreshed === at && held.length === count,
    node: role ? chooser(own, role, dam) : overview(own, held, await pairingsTold()),
  };
}

/** @param {Animal[]} own
    @param {Sitting[]} held
    @param {KeptPairing[]} pairings */
function overview(own, held, pairings) {
  const known = new Set(held.flatMap(({ young }) => young.map(({ animal }) => animal)));
  const others = clutches(own.filter(({ id }) => !known.has(id)), now()).slice(0, CLUTCHES);
  return h(
    "section",
    { class: "hatch" },
    h("p", { class: "trail" }, h("a", { href: "#/own" }, "Animals")),
    h("h1", { tabindex: "-1" }, "Hatch day"),
    held.length > 0 && h("h2", {}, "Under way"),
    held.length > 0 && h("ul", { class: "rows" }, held.map(sittingRow)),
    h("h2", {}, "Begin"),
    h(
      "ul",
      { class: "rows tall" },
      pairings.map((one) =>
        row(`#/hatch/new?pairing=${one.id}`, titled(one), `Planned for ${one.season}`)
      ),
      row("#/hatch?role=dam", "No planned pairing", "Choose dam and sire"),
    ),
    others.length > 0 && h("h2", {}, "Registered, to be sexed"),
    others.length > 0 && h("ul", { class: "rows tall" }, others.map(clutchRow)),
  );
}

/** @param {string} where
    @param {string} name
    @param {string} about */
const row = (where, name, about) =>
  h(
    "li",
    {},
    h(
      "a",
      { href: where },
      h("span", { class: "row-name" }, name),
      h("span", { class: "fine" }, about),
    ),
  );

/** @param {Sitting} one */
const sittingRow = (one) =>
  row(
    `#/hatch/${one.id}`,
    span(one.young.map(({ code }) => code)) || "No young",
    `${one.young.length} ${hatchedWord(one.mode)} on ${dayInWords(one.hatched)}`,
  );

/** @param {Animal[]} young */
function clutchRow(young) {
  return h(
    "li",
    {},
    h(
      "button",
      {
        type: "button",
        class: "plain",
        onclick: async ({ currentTarget }) => {
          /** @type {HTMLButtonElement} */ (currentTarget).disabled = true; // a second tap is a slip
          const made = reopen({ by: keeper(), begun: now(), mode: "unknown" }, young, newId);
          await put(made);
          location.hash = `#/hatch/${made.id}/sex`;
        },
      },
      `${span(young.map(title))}, ${young.length} of ${dayInWords(young[0].hatched ?? "")}`,
    ),
  );
}

/** One parent by a list, or none where it is not known.
    @param {Animal[]} own
    @param {"dam" | "sire"} role
    @param {string} dam */
function chooser(own, role, dam) {
  const offered = own.filter(({ id, ended }) => !ended && id !== dam);
  const rows = h("ul", { class: "rows tall" });
  const onward = (/** @type {string} */ id) =>
    role === "dam" ? `#/hatch?role=sire&dam=${id}` : `#/hatch/new?dam=${dam}&sire=${id}`;
  const show = (/** @type {string} */ typed) =>
    rows.replaceChildren(
      ...find(offered, typed).slice(0, SHOWN).map((one) =>
        row(onward(one.id), title(one), one.name || one.species.common)
      ),
    );
  show("");
  return h(
    "section",
    { class: "hatch" },
    h("p", { class: "trail" }, h("a", { href: "#/hatch" }, "Hatch day")),
    h("h1", { tabindex: "-1" }, role === "dam" ? "The dam" : "The sire"),
    finder(show),
    rows,
    (role === "dam" || dam) &&
      h(
        "p",
        { class: "actions" },
        h("a", { class: "button plain", href: onward("") }, "Not known"),
      ),
  );
}
