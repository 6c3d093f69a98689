/* What this phone saw of the log, and the alarm that stands. */

import { h, moment } from "../app/dom.js";
import { saveFile } from "../app/files.js";
import { changed, state } from "../app/state.js";
import { sync } from "../app/sync.js";
import { carried } from "../checking/carried.js";
import { overdue } from "../checking/freshness.js";
import { readNote } from "../checking/notes.js";
import { evidence } from "../pure/log.js";
import { settle, standing } from "../store/log.js";

/** What the head of every page says; nothing where no alarm stands. */
export const alarmSentence = () =>
  standing(state.alarms)
    ? "Alarm: what the log shows does not fit what this phone saw before. Nothing new is taken in until you have looked into it; what you log is still sent. See This phone."
    : "";

/** How far the log was followed, and by what key. */
export function logSeen() {
  const { log, unable } = state;
  if (unable) return `Not checked by this phone. ${unable}`;
  if (!log) return "Not looked at yet.";
  return [
    `It only grew, up to ${log.size} entries; last looked at ${moment(log.at)}. ${
      log.followed?.length
        ? "The key before it named its key, in a note that both signed"
        : "Its key was taken on trust from the server, the first time"
    }; compare it with one that you got elsewhere: `,
    h("code", {}, log.key),
    h("p", {}, howNew(log)),
    h("p", {}, ...cosigned(log)),
  ];
}

/** When the state was signed, and what is to be said of its age.
    @param {KnownLog} log */
function howNew({ signed }) {
  const when = signed?.at
    ? `The log signed this state on ${moment(signed.at)}, by its clock. `
    : "";
  return when + overdue(signed?.at ?? null, Date.now(), signed?.within);
}

/** Whose lines came with it, and a link to compare it with what others are shown.
    @param {KnownLog} log */
function cosigned({ key, note }) {
  const own = key.split("+")[0];
  const names = [...new Set(readNote(note).lines.map(({ name }) => name))].filter((one) =>
    one !== own
  );
  const lines = names.length
    ? `Cosigned, as the server says, by ${names.length} ${
      names.length === 1 ? "witness" : "witnesses"
    }: ${
      names.join(", ")
    }. This phone knows none of their keys; the command does, once you give it some. `
    : "No witness cosigned it yet. ";
  const link = carried(note);
  if (link === null) return [lines];
  return [
    lines,
    "Whoever opens ",
    h("a", { href: `/log${link}` }, "this link"),
    " compares it with the log that they are shown.",
  ];
}

/** The alarm that stands, to be saved and answered; null where none does. */
export function alarm() {
  const found = standing(state.alarms);
  if (!found) return null;
  const because = h("textarea", { id: "because", rows: 2, required: true, maxlength: 1000 });
  const anew = h("input", { type: "checkbox", id: "anew" });
  return h(
    "section",
    { class: "refused", "aria-label": "Alarm" },
    h("h2", {}, "Alarm"),
    h("p", {}, found.why),
    h(
      "p",
      {},
      `Seen ${
        moment(found.at)
      }. Save the evidence, and ask others who rely on this log what they were shown.`,
    ),
    h(
      "p",
      { class: "actions" },
      h("button", { type: "button", onclick: () => save(found) }, "Save the evidence"),
    ),
    h(
      "form",
      { onsubmit: (event) => answer(event, found, because.value, anew.checked) },
      h(
        "div",
        { class: "field" },
        h("label", { for: "because" }, "What you found out"),
        because,
      ),
      h(
        "p",
        { class: "tick" },
        anew,
        h(
          "label",
          { for: "anew" },
          "Take what the log shows next as the beginning, and its key on trust",
        ),
      ),
      h("p", { class: "actions" }, h("button", { type: "submit", class: "plain" }, "Set it aside")),
    ),
  );
}

/** @param {Alarm} found */
const save = (found) =>
  saveFile(
    `scalewitness-alarm-${found.id}.json`,
    JSON.stringify(evidence(found, location.origin), null, 1),
  );

/** @param {SubmitEvent} event
    @param {Alarm} found
    @param {string} because
    @param {boolean} anew */
async function answer(event, found, because, anew) {
  event.preventDefault();
  if (!because.trim()) return;
  await settle(found.id, { at: Date.now(), because: because.trim() }, anew);
  await changed();
  await sync();
}
