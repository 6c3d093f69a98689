/* One hatch day as a list: to be looked through and put right before anything of it is stated. */

import { announce } from "../app/shell.js";
import { h, list } from "../app/dom.js";
import { codesTaken, outboxById, revise, sittingOf, stateAll } from "../app/hatching.js";
import { asSeen, changed } from "../app/state.js";
import { newId } from "../net/keys.js";
import {
  amiss,
  hatchedWord,
  isRegistered,
  isStated,
  nextNumber,
  numbered,
  oneOfThem,
  toState,
} from "../pure/hatch.js";
import { words } from "../pure/outbox.js";
import { title } from "../pure/search.js";
import { isBlind } from "../pure/sight.js";
import { some } from "../store/db.js";
import { drop } from "../store/sittings.js";
import { gone, seenInWords } from "./hatch_rounds.js";

/** @param {{ id: string }} where
    @returns {Promise<View>} */
export async function hatchList({ id }) {
  const held = await sittingOf(id);
  if (!held) return gone();
  const box = h("div", {});
  let looked = "";
  const show = async () => {
    const found = await sittingOf(id);
    if (!found) return void (location.hash = "#/hatch");
    const look = JSON.stringify([found, ...stood(found)]);
    if (look === looked) return; // else a tap that is under way would miss
    looked = look;
    box.replaceChildren(...inside(found, await codesTaken(id), await parents(found)));
  };
  await show();
  return {
    title: "Hatch day",
    update: () => {
      show();
      return true;
    },
    node: h(
      "section",
      { class: "hatch" },
      h("p", { class: "trail" }, h("a", { href: "#/hatch" }, "Hatch day")),
      box,
    ),
  };
}

/** What became of what was stated of them, in words.
    @param {Sitting} held */
function stood({ young }) {
  const outbox = outboxById();
  return young.flatMap(({ ids }) => Object.values(ids).map((id) => outbox.get(id)?.state ?? ""));
}

/** Dam and sire in words, of those that one sees whole now.
    @param {Sitting} held */
async function parents({ dam, sire }) {
  const found = await some("animals", [dam, sire].filter((one) => one !== null));
  return asSeen(found).filter((one) => !isBlind(one)).map(title).join(" with ");
}

/** @param {Sitting} held
    @param {Set<string>} taken
    @param {string} of */
function inside(held, taken, of) {
  const outbox = outboxById();
  const { young } = held;
  const open = young.filter((one) => toState(held, one, outbox).length);
  const unregistered = young.filter((one) => !isRegistered(one, outbox));
  const lacking = amiss(held, outbox, taken);
  const weighed = young.filter(({ grams }) => grams).length;
  const seen = young.filter(({ seen }) => seen).length;
  const said = h("div", { class: "refused", role: "alert", tabindex: "-1", hidden: true });
  return [
    h("h1", { tabindex: "-1" }, `${young.length} ${hatchedWord(held.mode)} on ${held.hatched}`),
    h(
      "p",
      { class: "fine" },
      [
        of,
        `${weighed} weighed`,
        `${seen} sexed`,
        `${young.length - unregistered.length} registered`,
      ].filter(Boolean).join(" · "),
    ),
    open.length > 0 && h("p", { class: "fine" }, "Nothing more is stated before you say so below."),
    h("ul", { class: "rows tall young" }, young.map((one) => row(held, one, outbox))),
    h(
      "p",
      { class: "actions" },
      held.pattern && h("button", { type: "button", class: "plain", onclick: more }, "One more"),
      h("button", { type: "button", class: "plain", onclick: away }, "Put this hatch day away"),
    ),
    said,
    h(
      "div",
      { class: "bar" },
      h(
        "p",
        { class: "actions" },
        weighed < young.length && unregistered.length > 0 &&
          h("a", { class: "button plain", href: `#/hatch/${held.id}/weigh` }, "Weigh them"),
        seen < young.length &&
          h("a", { class: "button plain", href: `#/hatch/${held.id}/sex` }, "Sex them"),
      ),
      open.length > 0 && h("button", { type: "button", onclick: save }, spoken(held, open, outbox)),
    ),
  ].filter((one) => one instanceof HTMLElement);

  /** @param {MouseEvent} event */
  async function save(event) {
    const button = /** @type {HTMLButtonElement} */ (event.currentTarget);
    if (lacking.length) {
      said.replaceChildren(list(lacking));
      said.hidden = false;
      return said.focus();
    }
    button.disabled = true;
    try {
      const undo = await stateAll(held.id);
      const told = `${spoken(held, open, outbox)}: saved here.`;
      announce(undo.length ? told : "It was stated in another tab already.", location.hash, {
        undo,
      });
      await changed();
    } catch (fault) {
      button.disabled = false;
      said.replaceChildren(
        `It could not be kept on this phone: ${/** @type {Error} */ (fault).message}`,
      );
      said.hidden = false;
    }
  }

  function more() {
    return revise(held.id, (kept) => {
      const codes = [...taken, ...kept.young.map(({ code }) => code)];
      const code = numbered(kept.pattern, nextNumber(kept.pattern, codes));
      const made = oneOfThem({ animal: newId(), code }, newId);
      return { ...kept, young: [...kept.young, made] };
    });
  }

  /** @param {MouseEvent} event */
  async function away(event) {
    const button = /** @type {HTMLButtonElement} */ (event.currentTarget);
    if (open.length && !button.dataset.asked) {
      button.dataset.asked = "yes";
      button.textContent = `${open.length} not stated: put it away all the same`;
      return;
    }
    await drop(held);
    await changed();
    location.hash = "#/hatch";
  }
}

/** What the button that states all of it says.
    @param {Sitting} held
    @param {Young[]} open
    @param {Map<string, Stored>} outbox */
function spoken(held, open, outbox) {
  const count = (/** @type {string} */ kind) =>
    open.filter((one) => toState(held, one, outbox).some((fact) => fact.kind === kind)).length;
  const registered = count("animal_registered");
  const calls = count("call_made");
  if (registered) {
    return `Register ${registered} young${
      calls ? ` with ${calls} ${calls === 1 ? "call" : "calls"}` : ""
    }`;
  }
  return calls ? `Log ${calls} ${calls === 1 ? "call" : "calls"}` : `Note it of ${open.length}`;
}

/** @param {Sitting} held
    @param {Young} one
    @param {Map<string, Stored>} outbox */
function row(held, one, outbox) {
  const records = Object.values(one.ids).flatMap((id) => outbox.get(id) ?? []);
  const loud = records.find(({ state }) => state === "refused") ??
    records.find((each) => isStated(each) && each.state !== "accepted") ?? records[0];
  return h(
    "li",
    {},
    h(
      "a",
      { href: `#/hatch/${held.id}/${one.animal}` },
      h("span", { class: "row-name" }, one.code || "No code"),
      h(
        "span",
        { class: "fine" },
        [
          one.grams && `${one.grams} g`,
          seenInWords(one),
          one.photos.length > 0 &&
          (one.photos.length === 1 ? "a photo" : `${one.photos.length} photos`),
        ].filter(Boolean).join(" · ") || "Nothing noted",
      ),
    ),
    loud && h("span", { class: "state", "data-state": loud.state }, words(loud)),
  );
}
