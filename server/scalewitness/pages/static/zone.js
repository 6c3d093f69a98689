/* The browser's own time zone, where none was chosen yet: preselected, sent along or offered.
   Without script times are in the record's zone until the account says another. */

const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;

/** @type {NodeListOf<HTMLSelectElement | HTMLInputElement>} */
const fields = document.querySelectorAll("[data-browsers-zone]");
for (const field of fields) {
  if (field instanceof HTMLInputElement) field.value = zone;
  else if (!field.value && [...field.options].some((one) => one.value === zone)) {
    field.value = zone;
    const said = document.createElement("p");
    said.className = "fine";
    said.textContent = "From your browser; not kept until you say so.";
    field.after(said);
  }
}

/** @type {HTMLElement | null} */
const offer = document.querySelector("[data-offers-zone]");
const named = offer?.querySelector("[data-zone]");
const sent = offer?.querySelector('[name="time_zone"]');
if (offer && named && sent instanceof HTMLInputElement && zone && zone !== "UTC") {
  named.textContent = zone.replaceAll("_", " ");
  sent.value = zone;
  offer.hidden = false;
}
