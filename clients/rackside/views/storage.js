/* What is kept on this phone: how much room it takes, and how what waits leaves it or comes to it. */

import { h } from "../app/dom.js";
import { saveFile } from "../app/files.js";
import { takeOver, unsentFile } from "../app/handover.js";
import { state } from "../app/state.js";
import { notStated } from "../pure/hatch.js";
import { isOwed } from "../pure/outbox.js";
import { all } from "../store/db.js";

/** @type {[keyof Kept, string][]} */
const KEPT = [
  ["photos", "Photos not sent yet"],
  ["outbox", "Entries"],
  ["drafts", "Forms that were begun, with photos"],
  ["animals", "Animals"],
  ["facts", "Entries about your animals"],
];

/** How much room is taken, and by what. */
export function room() {
  const total = h("p", {}, "…");
  const parts = h("ul", { class: "rows" });
  measure(total, parts);
  return h("section", {}, h("h2", {}, "What is stored"), total, parts, handover());
}

/** @param {HTMLElement} total
    @param {HTMLElement} parts */
async function measure(total, parts) {
  const { usage, quota } = await navigator.storage?.estimate?.() ?? {};
  total.textContent = usage === undefined
    ? "This browser does not say how much room there is."
    : `${megabytes(usage)} of ${megabytes(quota ?? 0)} that the browser allows.`;
  const rows = await Promise.all(KEPT.map(async ([store, name]) => {
    const records = await all(store);
    const bytes = records.reduce((sum, one) => sum + sizeOf(one), 0);
    return h(
      "li",
      {},
      h("span", { class: "row-label" }, name),
      h("span", {}, records.length ? `${records.length}, about ${size(bytes)}` : "none"),
    );
  }));
  parts.replaceChildren(...rows);
}

/** @param {number} bytes */
const size = (bytes) => bytes < 1e6 ? `${Math.ceil(bytes / 1e3)} kB` : megabytes(bytes);
/** @param {number} bytes */
const megabytes = (bytes) =>
  `${(bytes / 1e6).toLocaleString("en", { maximumFractionDigits: 1 })} MB`;

/** Bytes that a value takes, as far as that can be told without storing it.
    @param {any} value
    @returns {number} */
function sizeOf(value) {
  if (value instanceof ArrayBuffer) return value.byteLength;
  if (value === null || typeof value !== "object") return String(value).length;
  return Object.entries(value).reduce((sum, [name, one]) => sum + name.length + sizeOf(one), 0);
}

/** Both ways of what waits. */
function handover() {
  const notice = h("p", { role: "status", hidden: true });
  const tell = (/** @type {string} */ text) => {
    notice.textContent = text;
    notice.hidden = false;
  };
  const file = h("input", {
    type: "file",
    id: "unsent-file",
    accept: ".json,application/json",
    onchange: ({ target }) => read(target, tell),
  });
  return h(
    "div",
    {},
    (state.outbox.some(isOwed) || notStated(state.sittings, state.outbox).length > 0) &&
      [
        h(
          "p",
          {},
          "What is not on record yet can be saved to a file, and read on another phone of yours or sent from a computer. From then on it can no longer be changed. A hatch day that is under way goes along, for another phone to go on with.",
        ),
        h(
          "p",
          { class: "actions" },
          h(
            "button",
            { type: "button", class: "plain", onclick: () => save(tell) },
            "Save what waits to a file",
          ),
        ),
      ],
    h(
      "div",
      { class: "field" },
      h("label", { for: "unsent-file" }, "Read such a file of yours"),
      file,
    ),
    notice,
  );
}

/** @param {(text: string) => void} tell */
async function save(tell) {
  const { name, text } = await unsentFile();
  saveFile(name, text);
  tell(`Look whether ${name} is among this phone’s downloads.`);
}

/** @param {HTMLInputElement} input
    @param {(text: string) => void} tell */
async function read(input, tell) {
  const [file] = input.files ?? [];
  input.value = "";
  if (!file) return;
  try {
    const { taken, known, days } = await takeOver(await file.text());
    tell(
      `${taken} ${taken === 1 ? "entry was" : "entries were"} taken from the file${
        known ? `, ${known} were here already` : ""
      }. “Entries” shows what becomes of them.${
        days ? ` Under “Hatch day”, ${days} can be gone on with.` : ""
      }`,
    );
  } catch (fault) {
    tell(/** @type {Error} */ (fault).message);
  }
}
