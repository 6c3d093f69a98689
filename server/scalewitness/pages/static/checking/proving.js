// Wires the proof of a record to a page: [data-prove] says where the proofs are, each
// [data-shown] what is shown there.

import { bytesOf, hex, Refused, sha256, Unreachable } from "../shared/bytes.js";
import { asked, browserMemory, Contradicted, service } from "./asking.js";
import { carried } from "./carried.js";
import { whyNot } from "./ed25519.js";
import { overdue } from "./freshness.js";
import { readKeys } from "./keys.js";
import { made } from "./made.js";
import { look } from "./whole.js";

const FORMAT = "scalewitness record and proof, version 1";

const place = /** @type {HTMLElement} */ (document.querySelector("[data-prove]"));

/** What goes into the file.
 * @type {Record<string, any>} */
const file = {
  format: FORMAT,
  saved: null,
  service: location.origin,
  log_keys: (place.dataset.keys ?? "").split("\n"),
  map_key: null,
  seen: Number(place.dataset.seen),
  shown: [],
  before: null,
  proofs: null,
  amiss: [],
};

/** @type {LogAsked} */
const ask = {
  ...service,
  mapKey: async () => file.map_key = await service.mapKey(),
};

/** @type {[Element, Shown[]][]} */
const elements = [...document.querySelectorAll("[data-shown]")]
  .map((one) => [one, JSON.parse(/** @type {HTMLElement} */ (one).dataset.shown ?? "[]")]);

async function start() {
  file.shown = elements.flatMap(([, shown]) => shown);
  const unable = await whyNot();
  if (unable) return unknown(unable);
  try {
    file.proofs = await asked(place.dataset.prove ?? "");
    const logs = await readKeys(file.log_keys.join("\n"));
    const memory = browserMemory();
    const whole = await look({
      answer: file.proofs,
      logs,
      shown: file.shown,
      seen: file.seen,
      memory,
      ask,
    });
    if (!whole.holds) return alarm(whole.amiss, whole.before);
    quiet(whole);
    watchPhotos();
  } catch (fault) {
    if (fault instanceof Contradicted) {
      return alarm([{ about: null, position: null, text: FORKED }]);
    }
    if (fault instanceof Unreachable) return unknown(fault.message);
    if (!(fault instanceof Refused)) throw fault;
    alarm([{ about: null, position: null, text: `${fault.message}.` }]);
  }
}

const FORKED =
  "The service says itself that its log does not continue what it signed: entries were altered or taken out, and it can prove nothing of what is shown here.";

// --- what is said

/** @param {Whole & { holds: true }} whole */
function quiet({ position, hidden, before, received }) {
  const count = hidden === 1 ? "1 entry" : `${hidden.toLocaleString("en")} entries`;
  const besides = hidden ? ` (with ${count} you have no access to)` : "";
  const line = `Checked by this page: complete and unaltered as of position ${
    position.toLocaleString("en")
  }${besides}`;
  const details = made("details", "", "proved");
  const earlier = before === null
    ? "This browser saw the log for the first time; from now on it notices if the log is not continued."
    : `The log continues what this browser saw at ${before.toLocaleString("en")} entries.`;
  details.append(made("summary", line), made("p", `${COMPARED} ${earlier}`), ...carriedOn());
  details.append(limits(), actions());
  const old = overdue(received, Date.now(), file.proofs.signs_within);
  place.replaceChildren(details, ...(old ? [made("p", old, "fine")] : []));
}

const COMPARED =
  "Your browser compared what is shown here with the log’s own entries, and these with what the log signed: they are all there is.";

/** @param {string} why */
function unknown(why) {
  const line = made("p", `Not checked by this page. ${why} `, "fine");
  line.append(toLog("How to check it otherwise"));
  place.replaceChildren(line);
}

/** Where nobody can miss it. It stays.
 * @param {Amiss[]} amiss
 * @param {string | null} [before] */
function alarm(amiss, before = null) {
  file.before = before;
  file.amiss.push(...amiss);
  const box = made("div", "", "refused alarm");
  box.setAttribute("role", "alert");
  box.tabIndex = -1;
  const list = made("ul");
  list.append(...file.amiss.map(told));
  box.append(made("p"), list, made("p", TO_DO), actions());
  box.firstElementChild?.append(made("strong", HEADLINE));
  document.querySelector(".alarm")?.remove();
  document.querySelector("main")?.prepend(box);
  place.replaceChildren(made("p", "This page does not fit the log: see above.", "fine"));
  box.focus();
}

const HEADLINE = "What this page shows is not what the log holds.";
const TO_DO =
  "Rely on nothing shown here: do not confirm, pay or sell on it. Save the record with its proof, open this page again over another network, and show the file to the other side and to whoever runs this service. The program scalewitness verify checks it.";

/** @param {Amiss} one */
function told({ about, position, text }) {
  const line = made("li", text);
  const found = position === null
    ? undefined
    : elements.find(([, shown]) =>
      shown.some((other) => other.about === about && other.position === position)
    );
  if (!found || found[0] === place) return line;
  found[0].id ||= `at-${position}`;
  found[0].classList.add("unfit");
  const link = made("a", "Where it is shown");
  link.href = `#${found[0].id}`;
  line.append(" ", link);
  return line;
}

/** A link for the other side, so that two who are shown different logs notice it. */
function carriedOn() {
  const hash = carried(file.proofs.checkpoint);
  if (hash === null) return [];
  const line = made("p", "So that both of you see the same log, send the other side ");
  const link = toLog("this link");
  link.href += hash;
  line.append(link, ": it holds what this page saw, and compares it with what they are shown.");
  return [line];
}

/** What a page cannot show of itself. */
function limits() {
  const line = made(
    "p",
    "A page cannot convict the service that sends it. A saved record is checked with the program scalewitness verify, or with a copy of this check from elsewhere. ",
    "fine",
  );
  line.append(toLog("What the log guarantees"));
  return line;
}

/** @param {string} words */
function toLog(words) {
  const link = made("a", words);
  link.href = place.dataset.log ?? "/log";
  return link;
}

function actions() {
  const button = made("button", "Save record and proof", "plain");
  button.type = "button";
  button.addEventListener("click", save);
  const line = made("p", "", "actions");
  line.append(button);
  return line;
}

async function save() {
  file.map_key ??= await service.mapKey().catch(() => null);
  file.saved = new Date().toISOString();
  const text = JSON.stringify(file, null, 1);
  const link = made("a");
  link.href = URL.createObjectURL(new Blob([bytesOf(text)], { type: "application/json" }));
  link.download = `record-and-proof-${file.saved.slice(0, 10)}.json`;
  link.click();
  URL.revokeObjectURL(link.href);
}

// --- photos

/** Holds each picture to its hash once the browser has it; those not looked at are not fetched. */
function watchPhotos() {
  for (const [element, shown] of elements) {
    const photo = shown.find(({ kind }) => kind === "photo_attached");
    const picture = element.querySelector("img");
    if (!photo || !picture) continue;
    const check = () => void checkPhoto(picture, photo);
    if (picture.complete && picture.naturalWidth) check();
    else picture.addEventListener("load", check, { once: true });
  }
}

/** @param {HTMLImageElement} picture
 * @param {Shown} photo */
async function checkPhoto(picture, photo) {
  const answer = await fetch(picture.src).catch(() => null);
  if (!answer?.ok) return;
  const hash = hex(await sha256(new Uint8Array(await answer.arrayBuffer())));
  if (hash === /** @type {any} */ (photo.holds).sha256) return;
  const text =
    `${photo.label} (position ${photo.position}): the picture is not the one that was recorded.`;
  alarm([{ about: photo.about, position: photo.position ?? null, text }]);
}

await start();
