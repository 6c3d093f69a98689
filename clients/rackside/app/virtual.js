/* A long list of which only the rows near the screen exist. Each row keeps its element for as long as
   it is there, so that neither the focus nor a tap under way misses when something changes; and what
   is on the screen stays where it is when something changes above it. */

import { h } from "./dom.js";

const BEYOND = 600; // pixels kept ready above and below the screen

/** `node` is the list; `show(items)` after every change; `reach(key)` brings an item to the middle of
    the screen and the focus to its link: whether it is there. Keys are never shared.
    @template I, T
    @param {LongList<I, T>} how */
export function longList({ key, height, texts, make, fill, link }) {
  const node = h("ul", { class: "long" });
  /** @type {I[]} */
  let items = [];
  /** @type {Map<string, number>} */
  let places = new Map();
  /** @type {number[]} */
  let tops = [0]; // of each item, and where the list ends; pixels
  /** @type {Map<string, { row: HTMLLIElement, look: string }>} */
  const drawn = new Map();
  /** @type {{ items: I[], first: number, at: number } | null} */
  let anchor = null; // what stays in its place: the row with the focus, else the uppermost

  const above = () => -node.getBoundingClientRect().top;
  /** The item at so many pixels from the list's top. */
  const indexAt = (/** @type {number} */ y) => {
    let low = 0, high = items.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (tops[middle] <= y) low = middle;
      else high = middle - 1;
    }
    return low;
  };
  const measure = () => {
    const rem = parseFloat(getComputedStyle(document.documentElement).fontSize);
    tops = [0];
    items.forEach((one, at) => tops.push(tops[at] + height(one) * rem));
    node.style.height = `${tops[items.length]}px`;
  };
  const note = () => {
    const up = above();
    if (!node.isConnected || up <= 0 || !items.length) {
      anchor = null;
      return;
    }
    const focused = places.get(focusedKey() ?? "");
    const isSeen = focused !== undefined && tops[focused] >= up && tops[focused] < up + innerHeight;
    const first = isSeen ? focused : indexAt(up);
    anchor = { items, first, at: tops[first] - up };
  };
  /** Moves the page so that what was uppermost, or what followed it, is there again. */
  const hold = () => {
    const kept = anchor?.items.slice(anchor.first).find((one) => places.has(key(one)));
    if (!anchor || kept === undefined) return;
    const by = tops[at(kept)] - above() - anchor.at;
    if (Math.abs(by) >= 1) scrollBy({ top: by, behavior: "instant" });
  };
  const draw = () => {
    const from = above();
    const first = indexAt(from - BEYOND);
    const last = indexAt(from + innerHeight + BEYOND);
    const near = new Set(items.slice(first, last + 1));
    const focus = /** @type {HTMLElement | null} */ (document.activeElement);
    const focused = places.get(focusedKey() ?? "");
    if (focused !== undefined) near.add(items[focused]);
    const keys = new Set([...near].map(key));
    for (const [one, { row }] of drawn) {
      if (keys.has(one)) continue;
      row.remove();
      drawn.delete(one);
    }
    /** @type {Element | null} */
    let before = null;
    for (const item of [...near].sort((a, b) => at(a) - at(b))) {
      const row = drawOne(item);
      const next =
        /** @type {Element | null} */ (before ? before.nextElementSibling : node.firstElementChild);
      if (next !== row) node.insertBefore(row, next);
      before = row;
    }
    if (focused !== undefined) focus?.focus({ preventScroll: true }); // lost where its row was moved
  };
  const at = (/** @type {I} */ item) => /** @type {number} */ (places.get(key(item)));
  const drawOne = (/** @type {I} */ item) => {
    const found = drawn.get(key(item)) ?? { row: make(item), look: "" };
    drawn.set(key(item), found);
    const said = texts(item);
    const look = JSON.stringify(said);
    if (look !== found.look) fill(found.row, said);
    found.look = look;
    const { row } = found;
    row.style.top = `${tops[at(item)]}px`;
    row.style.height = `${tops[at(item) + 1] - tops[at(item)]}px`;
    row.ariaPosInSet = String(at(item) + 1);
    row.ariaSetSize = String(items.length);
    return row;
  };
  const focusedKey = () => {
    for (const [one, { row }] of drawn) if (row.contains(document.activeElement)) return one;
    return null;
  };
  /** Where the row with the focus went, the one that follows it gets it. */
  const passOn = (/** @type {string | null} */ focused, /** @type {string[]} */ followed) => {
    if (focused === null || places.has(focused)) return;
    const next = followed.find((one) => drawn.has(one)) ?? [...drawn.keys()].at(-1);
    focusOn(next ?? "");
  };
  const focusOn = (/** @type {string} */ one) => {
    const found = drawn.get(one);
    if (found) link(found.row).focus({ preventScroll: true });
  };

  const going = new AbortController();
  const seen = new ResizeObserver(() => {
    hold();
    note();
  });
  let shown = false;
  const follow = (/** @type {() => void} */ work) => () => {
    if (node.isConnected) {
      shown = true;
      work();
    } else if (shown) {
      going.abort();
      seen.disconnect();
    }
  };
  const scrolled = follow(() => {
    draw();
    note();
  });
  const resized = follow(() => {
    measure();
    hold();
    draw();
    note();
  });
  node.addEventListener("focusin", note);
  addEventListener("scroll", scrolled, { signal: going.signal, passive: true });
  addEventListener("resize", resized, { signal: going.signal });
  seen.observe(document.body);

  return {
    node,
    /** @param {I[]} given */
    show(given) {
      const focused = focusedKey();
      const from = focused === null ? 0 : (places.get(focused) ?? 0);
      const followed = focused === null ? [] : items.slice(from + 1).map(key);
      items = given;
      places = new Map(items.map((one, index) => [key(one), index]));
      measure();
      hold();
      draw();
      passOn(focused, followed);
      note();
    },
    /** @param {string} wanted */
    reach(wanted) {
      const index = places.get(wanted);
      if (index === undefined) return false;
      const top = scrollY - above() + tops[index];
      scrollTo({ top: Math.max(0, top - innerHeight / 3), behavior: "instant" });
      draw();
      note();
      focusOn(wanted);
      return true;
    },
  };
}
