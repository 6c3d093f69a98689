/* Places put together from a rack and the number of a tub. */

import { naturally, rackOf } from "./places.js";

/** The racks that are spoken of, in order.
    @param {string[]} places */
export const racksOf = (places) => [...new Set(places.map(rackOf).filter(Boolean))].sort(naturally);

/** The number of the tub; "" where none can be told.
    @param {string} place */
export const tubOf = (place) => /(\d+)\D*$/.exec(place.slice(rackOf(place).length))?.[1] ?? "";

/** A place written as others of that rack are: "R2-14" where there is "R2-9". A tub's number alone
    where there is no rack, the rack alone where there is no tub.
    @param {string} rack
    @param {string} tub
    @param {string[]} places */
export function placeIn(rack, tub, places) {
  if (!rack || !tub) return rack || tub;
  const like = places.find((one) => rackOf(one) === rack && tubOf(one) && one.startsWith(rack));
  const between = like && /^\D+/.exec(like.slice(rack.length))?.[0];
  return `${rack}${between ?? "-"}${tub}`;
}
