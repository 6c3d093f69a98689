// Wires the checks to a page: a form that takes a file, or a button that fetches the page's own
// receipt (data-check-receipt).

import { Refused, Unreachable } from "../shared/bytes.js";
import { whyNot } from "./ed25519.js";
import { found } from "./found.js";
import { fetched } from "./growth.js";
import { readKeys } from "./keys.js";
import { judge, MAX_RECEIPT_BYTES } from "./receipt.js";
import { busy, say } from "./show.js";
import { verdict } from "./words.js";

class Checker {
  /** @param {HTMLElement} region
   * @param {HTMLElement} details
   * @param {VerifierKey[]} site
   * @param {boolean} brief */
  constructor(region, details, site, brief) {
    this.region = region;
    this.details = details;
    this.site = site;
    this.brief = brief;
    this.turn = 0;
  }

  /** Judges what `read` gives with the keys in `keysText`; a later check overtakes it.
   * @param {() => Promise<Bytes>} read
   * @param {string} keysText */
  async check(read, keysText) {
    const turn = ++this.turn;
    this.details.replaceChildren();
    const judged = await this.judged(read, keysText);
    if (turn !== this.turn) return;
    say(this.region, verdict(judged));
    if (judged.holds) this.details.replaceChildren(...found(judged, this.site, this.brief));
  }

  /** @param {() => Promise<Bytes>} read
   * @param {string} keysText
   * @returns {Promise<Judged>} */
  async judged(read, keysText) {
    let given;
    try {
      given = await readKeys(keysText);
    } catch (fault) {
      if (!(fault instanceof Refused)) throw fault;
      return { holds: null, why: `Of the keys you gave, ${fault.message}.` };
    }
    try {
      return await judge(await read(), given, this.site);
    } catch (fault) {
      if (fault instanceof Unreachable) return { holds: null, why: fault.message };
      if (!(fault instanceof DOMException)) throw fault;
      return { holds: null, why: `The file could not be read (${fault.name}).` };
    }
  }
}

function siteKeys() {
  const shown = [...document.querySelectorAll("[data-log-key]")];
  return readKeys(shown.map((one) => one.textContent).join("\n"));
}

/** @param {File} file */
const fileBytes = (file) => async () =>
  // One byte more than allowed tells that it is too long; the rest is not read.
  new Uint8Array(await file.slice(0, MAX_RECEIPT_BYTES + 1).arrayBuffer());

/** @param {HTMLFormElement} form
 * @param {Checker} checker */
function wireForm(form, checker) {
  const input = /** @type {HTMLInputElement} */ (form.querySelector("input[type=file]"));
  const keys = /** @type {HTMLTextAreaElement} */ (form.querySelector("textarea"));
  /** @type {File | null} */
  let last = null;
  const again = () => last && checker.check(fileBytes(last), keys.value);
  const take = (/** @type {FileList} */ files) => {
    last = files[0] ?? last;
    again();
  };
  form.addEventListener("submit", (event) => event.preventDefault());
  input.addEventListener("change", () => input.files && take(input.files));
  keys.addEventListener("change", again);
  wireDrop(form, input, take);
}

/** Wherever on the page it is dropped, so that a near miss does not leave the page.
 * @param {HTMLFormElement} form
 * @param {HTMLInputElement} input
 * @param {(files: FileList) => void} take */
function wireDrop(form, input, take) {
  const over = (/** @type {boolean} */ is) => void form.classList.toggle("over", is);
  for (const name of ["dragenter", "dragover"]) {
    document.addEventListener(name, (event) => {
      event.preventDefault();
      over(true);
    });
  }
  document.addEventListener("dragleave", (event) => event.relatedTarget ?? over(false));
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    over(false);
    const files = event.dataTransfer?.files;
    if (!files?.length) return;
    input.files = files; // so that its name is shown
    take(input.files);
  });
}

/** @param {HTMLButtonElement} button
 * @param {Checker} checker */
function wireButton(button, checker) {
  const read = async () =>
    new Uint8Array(await (await fetched(button.dataset.checkReceipt ?? "")).arrayBuffer());
  button.addEventListener("click", () => busy(button, () => checker.check(read, "")));
}

async function start() {
  const place = /** @type {HTMLElement} */ (document.querySelector("[data-check]"));
  /** @param {string} selector */
  const inside = (
    selector,
  ) => /** @type {NodeListOf<HTMLElement>} */ (place.querySelectorAll(selector));
  const [region, details] = [
    /** @type {HTMLElement} */ (place.querySelector("[role=status]")),
    /** @type {HTMLElement} */ (place.querySelector("[data-found]")),
  ];
  for (const one of inside("[data-unless-able]")) one.hidden = true;
  const reason = await whyNot();
  if (reason) {
    const why =
      `${reason} Nothing was checked. Use another browser, or the program scalewitness verify.`;
    say(region, { state: "unknown", headline: "Receipts cannot be checked here.", why });
    return;
  }
  /** @type {HTMLButtonElement | null} */
  const button = place.querySelector("[data-check-receipt]");
  const checker = new Checker(region, details, await siteKeys(), Boolean(button));
  if (button) wireButton(button, checker);
  else wireForm(/** @type {HTMLFormElement} */ (place.querySelector("form")), checker);
  for (const one of inside("[data-when-able]")) one.hidden = false;
  if (!button) await compareCarried(checker.site);
}

/** Where the address carries a state of the log that somebody else was shown.
 * @param {VerifierKey[]} site */
async function compareCarried(site) {
  const region = document.getElementById("carried");
  if (!region || !site.length || !location.hash.startsWith("#seen=")) return;
  const { carriedNote } = await import("./carried.js");
  const { comparedVerdict } = await import("./comparing.js");
  /** @type {Verdict} */
  let found;
  try {
    const note = carriedNote(location.hash, site[0].name);
    if (note === null) return;
    found = await comparedVerdict(note, site);
  } catch (fault) {
    if (!(fault instanceof Refused)) throw fault;
    const why = `As it arrived it says nothing: ${fault.message}. Ask for the link again.`;
    found = { state: "unknown", headline: "The link you were sent cannot be read.", why };
  }
  say(region, found);
}

await start();
