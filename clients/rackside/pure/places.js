/* Where animals are kept. A place is free text such as "R2-14": rack and tub (common practice, no
   source). */

const NATURAL = new Intl.Collator("en", { numeric: true, sensitivity: "base" });

/** Order as a reader counts: R2-9 before R2-14. For `sort`.
    @param {string} one
    @param {string} other */
export const naturally = (one, other) => NATURAL.compare(one, other);

/** "" where no rack can be told apart: nothing is noted, or a tub's number alone.
    @param {string} [place] */
export function rackOf(place = "") {
  const text = place.trim().replace(/\s+/g, " ");
  if (/^\d+$/.test(text)) return "";
  const rack = /^(.*?[^\s,;:./–-])\s?[\s,;:./–-]\s?[a-z]?\d+[a-z]?$/i.exec(text)?.[1] ?? text;
  const named = rack.replace(/[,;]?\s?\b(?:tub|box|drawer|no)$/i, "");
  return /^(?:rack|room|shelf|cabinet|)$/i.test(named) ? text : named;
}

/** In the order one walks along: by rack, then by tub, whatever has no place last; those of one place
    by name. `told` gives [place, name] of each.
    @template T
    @param {T[]} items
    @param {(item: T) => [string, string]} told */
export function inOrder(items, told) {
  const keyed = items.map((item) => {
    const [place, name] = told(item);
    return { item, place, name, rack: rackOf(place) };
  });
  keyed.sort((a, b) =>
    Number(!a.place) - Number(!b.place) || naturally(a.rack, b.rack) ||
    naturally(a.place, b.place) || naturally(a.name, b.name)
  );
  return keyed.map(({ item }) => item);
}
