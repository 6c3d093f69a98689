/* The photos of an animal: fetched while there is a signal, and kept small where they were seen. */

import { h, moment } from "../app/dom.js";
import { thumbnail } from "../app/thumbnail.js";

const MOST = 12; // the latest

/** @param {KeptFact[]} photos the latest first */
export function shownPhotos(photos) {
  if (!photos.length) return "";
  return h(
    "section",
    {},
    h("h2", {}, "Photos"),
    h("ul", { class: "thumbs" }, photos.slice(0, MOST).map(thumb)),
    photos.length > MOST && h("p", { class: "fine" }, `The latest ${MOST} of ${photos.length}.`),
  );
}

/** @param {KeptFact} photo */
function thumb(photo) {
  const at = moment(photo.entry.at);
  const place = h("li", { class: "fine" }, at);
  thumbnail(photo).then((shown) => {
    if (typeof shown === "string") place.prepend(h("p", {}, shown));
    else place.prepend(h("img", { src: shown.address, alt: `Photo of ${at}` }));
  });
  return place;
}
