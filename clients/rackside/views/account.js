/* This phone: its key, its room, signing out. */

import { signOut } from "../app/account.js";
import { h } from "../app/dom.js";
import { saveFile } from "../app/files.js";
import { unsentFile } from "../app/handover.js";
import { state } from "../app/state.js";
import { fingerprint, fromHex } from "../shared/bytes.js";
import { notStated } from "../pure/hatch.js";
import { isOwed } from "../pure/outbox.js";
import { standing } from "../store/log.js";
import { feedback } from "./feedback.js";
import { alarm, logSeen } from "./log_seen.js";
import { inMyName } from "./own_word.js";
import { room } from "./storage.js";

export function account() {
  const session = /** @type {Session} */ (state.session);
  const kept = h("dd", {}, "…");
  navigator.storage?.persisted?.().then((yes) => {
    kept.textContent = yes
      ? "The browser promised to keep what is stored here."
      : "The browser may clear what is stored here when room is short. Add this page to the home screen, and send soon.";
  });
  const signed = h("dd", {}, signing());
  const print = h("dd", {}, "…");
  showFingerprint(print);
  const log = h("dd", {}, logSeen());
  const place = h("div", {}, inMyName());
  const alarmed = h("div", {}, alarm());
  let stands = standing(state.alarms)?.id;
  return {
    title: "This phone",
    update: () => {
      signed.textContent = signing();
      log.replaceChildren(...[logSeen()].flat());
      place.replaceChildren(...present(inMyName()));
      if (standing(state.alarms)?.id !== stands) alarmed.replaceChildren(...present(alarm()));
      stands = standing(state.alarms)?.id; // an answer being written is left alone
      return true; // whoever is signing out is not interrupted
    },
    node: h(
      "section",
      {},
      h("h1", { tabindex: "-1" }, "This phone"),
      h(
        "dl",
        { class: "facts" },
        pair(session.expired ? "Signed out, was" : "Signed in as", session.name),
        h("div", {}, h("dt", {}, "Storage"), kept),
        h("div", {}, h("dt", {}, "Signature"), signed),
        h("div", {}, h("dt", {}, "Key, to compare on another device of yours"), print),
        h("div", {}, h("dt", {}, "The log"), log),
      ),
      alarmed,
      place,
      feedback(),
      room(),
      leaving(),
    ),
  };
}

/** @param {HTMLElement | null} node */
const present = (node) => (node ? [node] : []);

/** @param {HTMLElement} place */
async function showFingerprint(place) {
  place.textContent = state.key ? await fingerprint(fromHex(state.key.enrolment.key)) : "none";
}

/** @param {string} term
    @param {string} words */
const pair = (term, words) => h("div", {}, h("dt", {}, term), h("dd", {}, words));

export function signing() {
  if (!state.key) return "This browser cannot make an Ed25519 key: calls go unsigned.";
  if (state.key.state === "refused") {
    return "The server did not take this phone’s key: calls go unsigned.";
  }
  return state.key.state === "enrolled"
    ? "Calls are signed on this phone."
    : "Calls are signed; the key is made known at the next signal.";
}

function leaving() {
  const entries = state.outbox.filter(isOwed).length;
  const young = notStated(state.sittings, state.outbox).length;
  const lost = entries + young;
  const button = h("button", {
    type: "button",
    class: "plain",
    disabled: lost > 0,
    onclick: () => signOut(),
  }, lost ? "Delete them and sign out" : "Sign out");
  if (!lost) return h("p", { class: "actions" }, button);
  const label = h("label", { for: "lose" }, lost === 1 ? "Lose it" : `Lose all ${lost}`);
  const tick = h("input", {
    type: "checkbox",
    id: "lose",
    onchange: (event) => {
      button.disabled = !event.target.checked;
    },
  });
  const notice = h("p", { role: "status", hidden: true });
  const save = h(
    "button",
    { type: "button", onclick: () => download(notice, label) },
    "Save them to a file",
  );
  return h(
    "div",
    { class: "refused" },
    young > 0 && h(
      "p",
      {},
      `Of ${young} young of a `,
      h("a", { href: "#/hatch" }, "hatch day"),
      " something is not stated yet. Signing out deletes it. In a file it can be gone on with on another phone of yours.",
    ),
    entries > 0 && [
      h(
        "p",
        {},
        `${entries} ${
          entries === 1 ? "entry is" : "entries are"
        } not on record yet. Signing out deletes what is on this phone, and nothing can bring it back.`,
      ),
      h(
        "p",
        {},
        "In a file they can still be sent from a computer, signed in as you: ",
        h("code", {}, "scalewitness send FILE"),
        ".",
      ),
    ],
    h("p", { class: "actions" }, save),
    notice,
    h("p", { class: "tick" }, tick, label),
    h("p", { class: "actions" }, button),
  );
}

/** @param {HTMLElement} notice
    @param {HTMLElement} label */
async function download(notice, label) {
  const { name, text } = await unsentFile();
  saveFile(name, text);
  notice.textContent = `Look whether ${name} is among this phone’s downloads before you sign out.`;
  notice.hidden = false;
  label.textContent = "I have the file; delete them here";
}
