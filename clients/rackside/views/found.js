/* A code that was scanned and is nobody's here, or more than one animal's. */

import { finder, group, h, menu } from "../app/dom.js";
import { attach, register } from "../app/registering.js";
import { addressOf, bearersOf } from "../app/scanner.js";
import { isOpen, ownAnimals, state } from "../app/state.js";
import { isUnsent } from "../pure/outbox.js";
import { find, plain, title } from "../pure/search.js";
import { isBlind } from "../pure/sight.js";
import { about } from "./sheet.js";

const GIVEN = "It was given to an animal on this phone, and is not on record yet: see “Entries”.";
const SHOWN = 8; // animals that a search offers at once

/** @param {{ code: string }} where */
export async function found({ code }) {
  const bearers = await bearersOf(code);
  const own = (await ownAnimals()).filter((one) => !one.ended && !isBlind(one));
  const isAny = bearers.length > 0;
  const isGiven = state.outbox.some((one) =>
    isUnsent(one) && one.fact.kind === "identifier_assigned" &&
    plain(one.fact.body.code) === plain(code)
  );
  const offers = isAny || isGiven || !own.length
    ? []
    : [attaching(code, own), registering(code, own)];
  return {
    title: "A code that was scanned",
    editing: true,
    node: h(
      "section",
      {},
      h("h1", { class: "code", tabindex: "-1" }, code),
      h(
        "p",
        {},
        isAny ? "These bear this code:" : isGiven ? GIVEN : "No animal here bears this code.",
      ),
      isAny && h("ul", { class: "rows" }, bearers.map(link)),
      offers,
      !isAny && sheets(),
    ),
  };
}

/** @param {Bearer} bearer */
const link = (bearer) =>
  h(
    "li",
    {},
    h("a", { href: addressOf(bearer) }, `${title(bearer.animal)} · ${about(bearer.animal)}`),
  );

/** Where else it may be looked for. */
function sheets() {
  const open = state.visits.filter(isOpen);
  if (!open.length) return null;
  return h(
    "p",
    {},
    "Read it again, or look for the animal on the sheet: ",
    open.map(({ id, host }) => h("a", { class: "button plain", href: `#/visit/${id}` }, host.name)),
  );
}

/** @param {string} code
    @param {Animal[]} own */
function attaching(code, own) {
  const rows = h("ul", { class: "rows" });
  const show = (/** @type {string} */ typed) =>
    rows.replaceChildren(
      ...(typed ? find(own, typed) : []).slice(0, SHOWN).map((one) =>
        h(
          "li",
          {},
          h("span", {}, about(one)),
          h(
            "button",
            { type: "button", onclick: () => attach(code, one) },
            `Attach it to ${title(one)}`,
          ),
        )
      ),
    );
  return group("Attach it to an animal of yours", finder(show), rows);
}

/** @param {string} code
    @param {Animal[]} own */
function registering(code, own) {
  const kinds = new Map(own.map(({ species }) => [species.key, species.common]));
  const [first] = kinds.keys();
  const chosen = { species: first, collection: state.own[0].id };
  const species = menu({
    name: "species",
    label: "Species",
    value: chosen.species,
    options: [...kinds],
    onpick: (key) => {
      chosen.species = key;
    },
  });
  const collections = menu({
    name: "collection",
    label: "Collection",
    value: chosen.collection,
    options: state.own.map(({ id, name }) => [id, name]),
    onpick: (id) => {
      chosen.collection = id;
    },
  });
  return group(
    "Register an animal with it",
    species,
    collections,
    h(
      "p",
      { class: "actions" },
      h("button", { type: "button", onclick: () => register(code, chosen) }, "Register it"),
    ),
  );
}
