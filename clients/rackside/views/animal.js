/* One of one's own animals: what the record says of it and what was said, and care in one tap. */

import { note, statedOf } from "../app/caring.js";
import { h, list, moment } from "../app/dom.js";
import { now, OWN, ownAnimal, seasonTold, state } from "../app/state.js";
import { blank } from "../pure/call.js";
import { last, line, notes, TAPS } from "../pure/care.js";
import { cautions } from "../pure/cautions.js";
import { inWords } from "../pure/days.js";
import { words } from "../pure/outbox.js";
import { title } from "../pure/search.js";
import { dayOf, notesOn, pairingsWith } from "../pure/season.js";
import { isBlind } from "../pure/sight.js";
import { calls, drawn, photos, quoted } from "../pure/told.js";
import { factsOf } from "../store/facts.js";
import { provedOf } from "../store/proved.js";
import { checkedLine, unfit } from "./proved.js";
import { seasonTaps } from "./season.js";
import { about, standing } from "./sheet.js";
import { shownPhotos } from "./shown_photos.js";

const SHOWN = 6; // of each sort before the rest is asked for

/** @param {{ id: string }} where */
export async function animal({ id }) {
  const body = h("div", {});
  const bar = h("div", { class: "bar care", role: "group", "aria-label": "Care" });
  /** @type {string | null} */
  let shown = null;
  const show = async () => {
    const found = await ownAnimal(id);
    if (!found) {
      shown = null;
      bar.hidden = true;
      body.replaceChildren(...away());
      return;
    }
    const blind = isBlind(found);
    const [facts, proved] = blind ? [[], []] : await Promise.all([factsOf(id), provedOf([id])]);
    const stated = statedOf(id);
    const look = JSON.stringify([found, facts.length, proved, stated, pairingsOf(id).map(mark)]);
    if (look === shown) return; // a tap that is under way would miss
    shown = look;
    const whole = { facts, stated, proved: new Map(proved.map((one) => [one.id, one])) };
    body.replaceChildren(...(blind ? blindly(found) : told(found, whole)));
    bar.hidden = blind || Boolean(found.ended);
    if (!bar.childElementCount) bar.append(...taps(found));
  };
  await show();
  return {
    title: body.querySelector("h1")?.textContent ?? "",
    update: () => {
      show();
      return true;
    },
    node: h("section", {}, body, bar),
  };
}

/** @param {string} id */
const pairingsOf = (id) => pairingsWith(seasonTold(), id);

/** @param {KeptPairing} one */
const mark = (one) => [one, notesOn(one, state.outbox, dayOf(now())).map(({ what }) => what)];

/** @typedef {{ facts: KeptFact[], stated: Stored[], proved: Map<string, Proved> }} Whole */

/** @param {Animal} animal
    @param {Whole} whole */
function told(animal, { facts, stated, proved }) {
  const noted = notes(facts, stated);
  const reasons = cautions(animal, { ...blank(), method: "" }, now());
  return [
    ...head(animal),
    animal.standing
      ? standing(animal.standing)
      : h("p", {}, "The record says nothing of its sex yet."),
    h("p", { class: "fine" }, checkedLine([animal], proved)),
    unfit(animal) ?? "",
    reasons.length ? h("div", { class: "warnings" }, list(reasons)) : "",
    lately(noted),
    callsTold(facts, stated),
    weights(noted),
    cared(noted),
    shownPhotos(photos(facts)),
    ...quoted(facts).map((one) => h("p", { class: "fine" }, one)),
    paired(animal.id),
  ];
}

/** @param {Animal} animal */
const head = (animal) => [
  h("h1", { tabindex: "-1" }, title(animal)),
  h(
    "p",
    { class: "fine" },
    [animal.name, animal.rack, about(animal)].filter(Boolean).join(" · "),
  ),
];

/** @param {Animal} animal */
const blindly = (animal) => [
  h("h1", { tabindex: "-1" }, title(animal)),
  h("p", { class: "fine" }, about(animal)),
  h(
    "p",
    {},
    "You are to check this animal blind. Until your call is in, nothing of it is shown, and its care is its keeper’s to note.",
  ),
];

/** @param {ReturnType<typeof notes>} noted */
function lately(noted) {
  const rows = last(noted, now());
  if (!rows.length) return "";
  return h(
    "dl",
    { class: "facts" },
    rows.map(([label, what, when]) =>
      h(
        "div",
        {},
        h("dt", {}, label),
        h("dd", {}, [what, when].filter(Boolean).join(", ")),
      )
    ),
  );
}

/** @param {KeptFact[]} facts
    @param {Stored[]} stated */
function callsTold(facts, stated) {
  const known = new Set(facts.map(({ id }) => id));
  const waiting = stated.filter(({ id, fact, state }) =>
    fact.kind === "call_made" && !known.has(id) && state !== "aside"
  );
  const found = calls(facts, state.session?.keeper ?? "");
  if (!found.length && !waiting.length) return "";
  const rows = [
    ...waiting.map((one) =>
      h(
        "li",
        {},
        h("p", {}, one.shown.line),
        h("p", { class: "state", "data-state": one.state }, words(one)),
      )
    ),
    ...found.map((one) =>
      h(
        "li",
        { class: one.withdrawn ? "withdrawn" : null },
        h("p", {}, `${one.found}${one.withdrawn ? " – withdrawn" : ""}`),
        h("p", { class: "fine" }, [one.method, one.seen].filter(Boolean).join(": ")),
        one.text && h("p", {}, one.text),
        h("p", { class: "fine" }, `${one.who}, ${moment(one.at)}`),
      )
    ),
  ];
  return h("section", {}, h("h2", {}, "Calls"), folded(rows));
}

/** The first of many, and the rest where they are asked for.
    @param {HTMLElement[]} rows */
function folded(rows) {
  const rest = rows.slice(SHOWN);
  return [
    h("ul", { class: "told" }, rows.slice(0, SHOWN)),
    rest.length > 0 && h(
      "details",
      {},
      h("summary", {}, `${rest.length} earlier`),
      h("ul", { class: "told" }, rest),
    ),
  ];
}

/** @param {ReturnType<typeof notes>} noted */
function weights(noted) {
  const weighed = noted.filter((one) => one.noted.type === "weight");
  if (!weighed.length) return "";
  const [latest, first] = [weighed[0], weighed[weighed.length - 1]];
  const words = weighed.length === 1
    ? `${latest.noted.grams} g, ${inWords(latest.at, now())}`
    : `${first.noted.grams} g to ${latest.noted.grams} g in ${weighed.length} weighings since ${
      inWords(first.at, now())
    }`;
  return h(
    "section",
    {},
    h("h2", {}, "Weights"),
    h("figure", { class: "weights" }, curve(drawn(weighed)), h("figcaption", {}, words)),
  );
}

const SVG = "http://www.w3.org/2000/svg";

/** @param {number[][] | null} points */
function curve(points) {
  if (!points) return "";
  const drawing = document.createElementNS(SVG, "svg");
  drawing.setAttribute("viewBox", "0 0 100 40");
  drawing.setAttribute("aria-hidden", "true");
  const made = document.createElementNS(SVG, "polyline");
  made.setAttribute("points", points.map((one) => one.join()).join(" "));
  drawing.append(made);
  return drawing;
}

/** @param {ReturnType<typeof notes>} noted */
function cared(noted) {
  const rows = noted.filter((one) => one.noted.type !== "weight").map((one) =>
    h(
      "li",
      {},
      h("p", {}, line(one.noted, one.text)),
      h(
        "p",
        { class: "fine" },
        [inWords(one.at, now()), one.by ?? "on this phone"].filter(Boolean).join(", "),
      ),
    )
  );
  return rows.length ? h("section", {}, h("h2", {}, "Care"), folded(rows)) : "";
}

/** @param {string} id */
function paired(id) {
  const found = pairingsOf(id);
  if (!found.length) return "";
  return h(
    "section",
    {},
    h("h2", {}, "Pairings"),
    found.map((one) => seasonTaps(one, id)),
  );
}

/** One tap each.
    @param {Animal} animal */
function taps(animal) {
  const here = `#/own/${animal.id}`;
  const link = (/** @type {string} */ label, /** @type {string} */ href) =>
    h("a", { class: "button plain", href }, label);
  const tap = (/** @type {typeof TAPS[number]} */ [key, label, noted]) =>
    h("button", {
      type: "button",
      class: "plain",
      "data-care": key,
      onclick: () =>
        note([{ animal, noted }], {
          said: `${title(animal)}: ${line(noted).toLowerCase()}, saved here.`,
          hash: here,
        }),
    }, label);
  return [
    link("Weight", `${here}/weight`),
    ...TAPS.map(tap),
    link("Note", `${here}/remark`),
    link("Move", `${here}/move`),
    link("Log a call", `#/log/${OWN.id}/${animal.id}`),
  ];
}

/** The way back to its page.
    @param {Animal} animal */
export const titleLink = (animal) => h("a", { href: `#/own/${animal.id}` }, title(animal));

const away = () => [
  h("h1", { tabindex: "-1" }, "Not here"),
  h("p", {}, "This animal is not one of yours, as far as this phone knows."),
  h("p", {}, h("a", { href: "#/own" }, "Animals")),
];

export const gone = () => ({ title: "Not here", node: h("section", {}, ...away()) });
