/* One hatch day as a list: to be looked through and put right before anything of it is stated. */

import { announce } from "../app/shell.js";
import { h, line, list, moment, notKept, twice } from "../app/dom.js";
import { codesTaken, outboxById, revise, sittingOf, stateAll } from "../app/hatching.js";
import { asSeen, changed, now } from "../app/state.js";
import { newId } from "../net/keys.js";
import {
  amiss,
  dayInWords,
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
import { dayOf } from "../pure/season.js";
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

/** Dam and sire in words, each empty where one does not see it whole now.
    @param {Sitting} held */
async function parents({ dam, sire }) {
  const found = asSeen(await some("animals", [dam, sire].filter((one) => one !== null)))
    .filter((one) => !isBlind(one));
  const named = (/** @type {string | null} */ id) =>
    found.filter((one) => one.id === id).map(title);
  return { dam: named(dam)[0] ?? "", sire: named(sire)[0] ?? "" };
}

/** @param {Sitting} held
    @param {Set<string>} taken
    @param {{ dam: string, sire: string }} of */
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
    h(
      "h1",
      { tabindex: "-1" },
      `${young.length} ${hatchedWord(held.mode)} on ${dayInWords(held.hatched)}`,
    ),
    h(
      "p",
      { class: "fine" },
      [
        [of.dam, of.sire].filter(Boolean).join(" with "),
        `${weighed} weighed`,
        `${seen} sexed`,
        `${young.length - unregistered.length} registered`,
      ].filter(Boolean).join(" · "),
    ),
    held.carried && open.length > 0 && h(
      "p",
      {},
      `It was saved to a file on ${moment(held.carried)}, for another phone to go on with.`,
    ),
    open.length > 0 && h("p", { class: "fine" }, "Nothing more is stated before you say so below."),
    unregistered.length > 0 && shared(held, of),
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
      open.length > 0 &&
        (held.carried
          ? twice("Go on with it here", "No other phone did: go on with it here", here, held.id)
          : h("button", { type: "button", onclick: save }, spoken(held, open, outbox))),
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
      said.replaceChildren(notKept(fault));
      said.hidden = false;
    }
  }

  function here() {
    return revise(held.id, ({ carried: _, ...kept }) => kept);
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

/** What all of them share, to be put right while one is still to be registered.
    @param {Sitting} held
    @param {{ dam: string, sire: string }} of */
function shared(held, of) {
  const roles = /** @type {("dam" | "sire")[]} */ (["dam", "sire"]).filter((role) => held[role]);
  return h(
    "details",
    { class: "cautions" },
    h("summary", {}, "What they share"),
    line({
      name: "hatched",
      label: `Day they ${held.mode === "live" ? "were born" : hatchedWord(held.mode)}`,
      type: "date",
      value: held.hatched,
      max: dayOf(now()),
      onchange: ({ target }) =>
        target.value && revise(held.id, (kept) => ({ ...kept, hatched: target.value })),
    }),
    roles.map((role) =>
      h(
        "p",
        { class: "actions" },
        h("button", {
          type: "button",
          class: "plain",
          onclick: () => revise(held.id, (kept) => ({ ...kept, [role]: null })),
        }, `Name no ${role}${of[role] && `, not ${of[role]}`}`),
      )
    ),
  );
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
