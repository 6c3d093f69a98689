/* What speaks against checking this animal now. The general cautions come with the sheet; these
   are about one animal, in the words of the server's `pages/welfare.py`. */

const HOUR = 3_600_000;
const DAY = 24 * HOUR;
/** Nobody has published a smallest weight for probing; below this we speak up (our judgement). */
const SMALL_GRAMS = 100;

/** Sentences, the weightiest first. `form` is what has been filled in so far. */
export function cautions(animal, form, nowMs) {
  const { condition } = animal;
  return [
    animal.hold_off && "Its keeper asks everyone to leave this animal alone for now.",
    form.harm.length > 0 && "Stop here. Bleeding, swelling or prolapse: a reptile veterinarian.",
    meal(condition, form, nowMs),
    shed(condition, form),
    size(condition, form, nowMs),
    alone(form),
  ].filter(Boolean);
}

function meal(condition, form, nowMs) {
  if (form.meal === "under_48") return "Fed less than 48 hours ago: wait.";
  if (form.meal === "under_72") return "Fed 48 to 72 hours ago: better wait a day.";
  if (form.meal || !condition.fed_at) return null;
  const hours = (nowMs - Date.parse(condition.fed_at)) / HOUR;
  return hours < 72 ? "It was fed less than 72 hours ago: wait." : null;
}

function shed(condition, form) {
  const now = form.shed || condition.shed;
  return now === "opaque" ? "It is in shed (opaque): wait until it has shed." : null;
}

function size(condition, form, nowMs) {
  const typed = Number(form.grams);
  const grams = typed || Number(condition.grams);
  if (!grams) {
    return "No weight is noted: look at its size before you choose a probe, or let it be.";
  }
  if (grams < SMALL_GRAMS) {
    return `It is small (${grams} g): leave it if the smallest probe would need any force.`;
  }
  const old = !typed && nowMs - Date.parse(condition.weighed_at) > 60 * DAY;
  return old ? "Its last weight is more than 60 days old." : null;
}

function alone(form) {
  return form.method === "probing" && form.held_by === "examiner"
    ? "Nobody holds it for you: have a second person for a large or tense animal."
    : null;
}
