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

/** Order of places: by rack, then by tub; whatever has no place comes last.
    @param {string} one
    @param {string} other */
export const byPlace = (one, other) =>
  Number(!one) - Number(!other) || naturally(rackOf(one), rackOf(other)) || naturally(one, other);
