/* This phone: its key, its room, signing out. */

import { signOut } from "../app/account.js";
import { h } from "../app/dom.js";
import { state } from "../app/state.js";
import { isUnsent, needsYou } from "../pure/outbox.js";

export function account() {
  const kept = h("dd", {}, "…");
  navigator.storage?.persisted?.().then((yes) => {
    kept.textContent = yes
      ? "The browser promised to keep what is stored here."
      : "The browser may clear what is stored here when room is short. Add this page to the home screen, and send soon.";
  });
  return {
    title: "This phone",
    editing: true,
    node: h("section", {},
      h("h1", { tabindex: "-1" }, "This phone"),
      h("dl", { class: "facts" },
        pair("Signed in as", state.session.name),
        h("div", {}, h("dt", {}, "Storage"), kept),
        pair("Signature", signing())),
      leaving()),
  };
}

const pair = (term, words) => h("div", {}, h("dt", {}, term), h("dd", {}, words));

export function signing() {
  if (!state.key) return "This browser cannot make an Ed25519 key: calls go unsigned.";
  if (state.key.state === "refused") return "The server did not take this phone’s key: calls go unsigned.";
  return state.key.state === "enrolled" ? "Calls are signed on this phone." : "Calls are signed; the key is made known at the next signal.";
}

function leaving() {
  const lost = state.outbox.filter((one) => isUnsent(one) || needsYou(one)).length;
  const button = h("button", { type: "button", class: "plain", disabled: lost > 0, onclick: () => signOut() },
    lost ? "Delete them and sign out" : "Sign out");
  if (!lost) return h("p", { class: "actions" }, button);
  const tick = h("input", { type: "checkbox", id: "lose", onchange: (event) => { button.disabled = !event.target.checked; } });
  return h("div", { class: "refused" },
    h("p", {}, `${lost} ${lost === 1 ? "entry is" : "entries are"} not on record yet. Signing out deletes what is on this phone, and nothing can bring it back.`),
    h("p", { class: "tick" }, tick, h("label", { for: "lose" }, lost === 1 ? "Lose it" : `Lose all ${lost}`)),
    h("p", { class: "actions" }, button));
}
