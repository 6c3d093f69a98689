/* Signing in once; the token stays on this phone. */

import { h, line } from "../app/dom.js";
import { signIn } from "../app/account.js";
import { isUnsent } from "../pure/outbox.js";
import { state } from "../app/state.js";

export function signin() {
  const waiting = state.outbox.filter(isUnsent).length;
  const known = state.session;
  const told = h("p", { class: "refused", role: "alert", hidden: true });
  const form = h("form", { onsubmit: (event) => send(event, told) },
    line({ name: "email", label: "E-mail", type: "email", autocomplete: "username", required: true, value: known?.email ?? "" }),
    line({ name: "password", label: "Password", type: "password", autocomplete: "current-password", required: true }),
    line({ name: "device", label: "What to call this phone", value: "Phone at the racks", required: true, maxlength: 60, help: "You will see it in your list of devices." }),
    h("p", { class: "actions" }, h("button", { type: "submit" }, "Sign in")));
  return {
    title: "Sign in",
    editing: true,
    node: h("section", {},
      h("h1", { tabindex: "-1" }, "Log at the racks"),
      h("p", { class: "lead" }, "Log checks where there is no signal. Each call is kept on this phone first and sent when it can be."),
      known?.expired && h("p", { class: "warnings" }, `You were signed out. ${waiting ? `${waiting} not sent yet: kept here; sign in as ${known.name} to send.` : ""}`),
      told, form,
      h("p", { class: "fine" }, "No account yet? ", h("a", { href: "/accounts/signup/" }, "Make one on the site"), ".")),
  };
}

async function send(event, told) {
  event.preventDefault();
  const form = event.target;
  const button = form.querySelector("button");
  button.disabled = true;
  told.hidden = true;
  try {
    const { email, password, device } = Object.fromEntries(new FormData(form));
    await signIn(email.trim(), password, device.trim());
  } catch (fault) {
    told.textContent = fault.message;
    told.hidden = false;
    button.disabled = false;
  }
}
