/* A page with a long list of animals: a thin head, rows by rack, and near the thumb what finds one
   and what is shown. */

import { finder, h } from "../app/dom.js";
import { longList } from "../app/virtual.js";
import { rackOf } from "../pure/places.js";
import { find } from "../pure/search.js";

const ROW = 4.75, RACK = 2, LINK = 3; // heights in rem, as in styles/lists.css

/** How each list was left, by its address, for as long as the app is open: which set was shown, and
    which animal was opened from it.
    @type {Map<string, { set: string, opened: string | null }>} */
const left = new Map();

/** @param {ListPage} page */
export function listing(page) {
  const kept = left.get(page.address) ?? { set: "", opened: null };
  left.set(page.address, kept);
  /** @type {Listed} */
  let listed;
  let typed = "";
  const count = h("p", { class: "fine", role: "status" });
  const sets = choiceOfSets(kept, () => show());
  const rows = longList({
    key: ({ animal }) => animal.id,
    height: ({ rack, more }) => ROW + (rack ? (rack.href ? LINK : RACK) : 0) + LINK * more.length,
    texts: ({ animal, ...line }) => ({ ...line, ...page.row(animal, typed) }),
    make: ({ animal }) => emptyRow(() => kept.opened = animal.id),
    fill,
    link: opener,
  });
  const show = () => {
    const of = sets.show(listed.sets);
    const found = typed ? find(listed.all, typed) : of;
    rows.show(linesOf(found, typed ? null : listed.all, page));
    const text = page.count(listed, found.length, typed);
    if (count.textContent !== text) count.textContent = text;
  };
  const renew = () => {
    listed = page.read();
    show();
    page.around(listed);
  };
  renew();
  return {
    title: page.title,
    show: renew,
    arrive: () => {
      const { opened } = kept;
      kept.opened = null;
      return opened !== null && (rows.reach(opened) || rows.reach(page.next?.(opened) ?? ""));
    },
    node: h(
      "section",
      { class: "listing" },
      h("div", { class: "head" }, h("h1", { tabindex: "-1" }, page.heading), count),
      page.head,
      h(
        "div",
        { class: "finding" },
        sets.node,
        h(
          "div",
          { class: "found-by" },
          finder((text) => {
            typed = text;
            show();
          }),
          h("a", { class: "button plain", href: "#/scan" }, "Scan"),
        ),
      ),
      rows.node,
      page.foot,
    ),
  };
}

/** Which of several sets is shown, each with how many it holds; nothing where there is no choice.
    @param {{ set: string }} kept
    @param {() => void} changed */
function choiceOfSets(kept, changed) {
  const node = h("div", { class: "picks", role: "radiogroup", "aria-label": "Which are shown" });
  /** @type {HTMLLabelElement[]} */
  let labels = [];
  const make = (/** @type {Listed["sets"]} */ sets) => {
    labels = sets.map(([key]) => h("label", { for: `set-${key}` }));
    node.replaceChildren(...sets.map(([key], at) => {
      const input = h("input", {
        type: "radio",
        id: `set-${key}`,
        name: "set",
        checked: key === kept.set,
        onchange: () => {
          kept.set = key;
          changed();
        },
      });
      return h("span", { class: "pick" }, input, labels[at]);
    }));
  };
  return {
    node,
    /** @param {Listed["sets"]} sets */
    show(sets) {
      if (!sets.some(([key]) => key === kept.set)) kept.set = sets[0][0];
      if (sets.length > 1 && labels.length !== sets.length) make(sets);
      labels.forEach((label, at) => {
        const text = `${sets[at][1]} ${sets[at][2].length}`;
        if (label.textContent !== text) label.textContent = text;
      });
      return sets.find(([key]) => key === kept.set)?.[2] ?? [];
    },
  };
}

/** Each animal with the name of its rack above the first one; `all`: all of its racks, null where
    none is named.
    @param {Animal[]} animals
    @param {Animal[] | null} all
    @param {ListPage} page
    @returns {Line[]} */
function linesOf(animals, all, page) {
  /** @type {Map<string, Animal[]>} */
  const racks = new Map();
  for (const one of all ?? []) {
    const rack = rackOf(one.rack);
    const held = racks.get(rack);
    if (held) held.push(one);
    else racks.set(rack, [one]);
  }
  const isNamed = racks.size > 1 || (racks.size === 1 && !racks.has(""));
  let before = "\n"; // no rack's name
  return animals.map((animal) => {
    const name = rackOf(animal.rack);
    const first = isNamed && name !== before;
    before = name;
    return {
      animal,
      rack: first ? page.rack(name, racks.get(name) ?? []) : null,
      more: page.more?.(animal) ?? [],
      level: isNamed ? 3 : 2,
    };
  });
}

/** What opens an animal covers its row, so a tap never misses what was just renewed.
    @param {() => void} opened */
function emptyRow(opened) {
  return h(
    "li",
    { class: "row" },
    h("h2", { class: "rack", hidden: true }),
    h(
      "div",
      { class: "animal" },
      h("h3", {}, h("a", { onclick: opened })),
      h("p", { class: "place" }),
      h("p", { class: "about" }),
      h("p", { class: "says" }),
      h("p", { class: "proof" }),
    ),
    h("p", { class: "more" }),
  );
}

/** @param {HTMLLIElement} row
    @param {RowTexts & { rack: Line["rack"], more: Line["more"], level: number }} texts */
function fill(row, { rack, more, level, ...texts }) {
  const head = part(row, ".rack");
  head.hidden = !rack;
  if (rack?.href) putLinks(head, [[rack.href, rack.words]]);
  else head.textContent = rack?.words ?? "";
  part(row, "h3").ariaLevel = String(level);
  const link = opener(row);
  link.textContent = texts.title;
  link.href = texts.href;
  link.ariaLabel = texts.label;
  part(row, ".place").textContent = texts.place;
  part(row, ".about").textContent = texts.about;
  const says = part(row, ".says");
  says.textContent = texts.says;
  says.className = texts.state ? "says state" : "says";
  says.dataset.state = texts.state;
  part(row, ".proof").textContent = texts.proof ?? "";
  putLinks(part(row, ".more"), more);
}

/** @param {HTMLElement} row
    @param {string} selector */
const part = (row, selector) => /** @type {HTMLElement} */ (row.querySelector(selector));
/** What opens the animal of a row.
    @param {HTMLElement} row */
const opener = (row) => /** @type {HTMLAnchorElement} */ (row.querySelector("h3 a"));

/** Those that are there stay, with the focus that one of them may have.
    @param {HTMLElement} place
    @param {[string, string][]} links */
function putLinks(place, links) {
  if (place.childNodes.length !== links.length || !place.firstElementChild) {
    place.replaceChildren(...links.map(() => h("a")));
  }
  for (const [at, [href, words]] of links.entries()) {
    const link = /** @type {HTMLAnchorElement} */ (place.children[at]);
    link.href = href;
    link.textContent = words;
  }
}
