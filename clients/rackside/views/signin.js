/* Signing in once; the token stays on this phone. */

import { h, line, within } from "../app/dom.js";
import { signIn, signInByPage } from "../app/account.js";
import { isUnsent } from "../pure/outbox.js";
import { state } from "../app/state.js";
import { cleared } from "./cleared.js";

export function signin() {
  const waiting = state.outbox.filter(isUnsent).length;
  const known = state.session;
  const refusal = h("p", { class: "refused", role: "alert", hidden: true });
  const more = h("div", {});
  /** @type {HTMLFormElement} */
  const form = h(
    "form",
    { onsubmit: (event) => send(event, refusal, more) },
    line({
      name: "email",
      label: "E-mail",
      type: "email",
      autocomplete: "username",
      required: true,
      value: known?.email ?? "",
    }),
    line({
      name: "password",
      label: "Password",
      type: "password",
      autocomplete: "current-password",
      required: true,
    }),
    line({
      name: "device",
      label: "What to call this phone",
      value: "Phone at the racks",
      required: true,
      maxlength: 60,
      help: "You will see it in your list of devices.",
    }),
    more,
    h(
      "p",
      { class: "actions" },
      h("button", { type: "submit" }, "Sign in"),
      h(
        "button",
        { type: "button", class: "plain", onclick: () => byPage(form, refusal, more) },
        "Confirm on a page instead",
      ),
    ),
  );
  return {
    title: "Sign in",
    editing: true,
    node: h(
      "section",
      {},
      h("h1", { tabindex: "-1" }, "Log at the racks"),
      h(
        "p",
        { class: "lead" },
        "Log checks where there is no signal. Each call is kept on this phone first and sent when it can be.",
      ),
      cleared(),
      known?.expired &&
        h(
          "p",
          { class: "warnings" },
          `You were signed out. ${
            waiting ? `${waiting} not sent yet: kept here; sign in as ${known.name} to send.` : ""
          }`,
        ),
      refusal,
      form,
      h(
        "p",
        { class: "fine" },
        "No account yet? ",
        h("a", { href: "/accounts/signup/" }, "Make one on the site"),
        ".",
      ),
    ),
  };
}

/** @param {SubmitEvent} event
    @param {HTMLElement} refusal
    @param {HTMLElement} more */
async function send(event, refusal, more) {
  event.preventDefault();
  const form = /** @type {HTMLFormElement} */ (event.target);
  await trying(form, refusal, () => {
    const given = /** @type {Iterable<[string, string]>} */ (new FormData(form));
    const { email, password, device, code } = Object.fromEntries(given);
    return signIn(email.trim(), password, device.trim(), code?.trim());
  }, (fault) => {
    const kinds = fault.problem?.kinds;
    if (fault.problem?.code === "second_factor_required" && !form.elements.namedItem("code")) {
      askCode(/** @type {string[]} */ (kinds), more);
    }
  });
}

/** For passkeys, and for whoever would rather type no password here.
    @param {HTMLFormElement} form
    @param {HTMLElement} refusal
    @param {HTMLElement} more */
function byPage(form, refusal, more) {
  const name = within(form, "[name=device]").value.trim() || "Phone at the racks";
  return trying(form, refusal, () =>
    signInByPage(name, (page, code) => {
      more.replaceChildren(
        h(
          "p",
          { role: "status" },
          "Open ",
          h("a", { href: page, target: "_blank", rel: "noopener" }, page),
          ", type ",
          h("code", {}, code),
          " there, and come back. It waits for ten minutes.",
        ),
      );
    }), () => more.replaceChildren());
}

/** @param {string[]} kinds
    @param {HTMLElement} more */
function askCode(kinds, more) {
  if (!kinds.some((kind) => kind !== "passkey")) return;
  more.replaceChildren(line({
    name: "code",
    label: "Code",
    autocomplete: "one-time-code",
    inputmode: "numeric",
    maxlength: 20,
    help: "From your authenticator app; or one of your recovery codes.",
  }));
  within(more, "input").focus();
}

/** @param {HTMLFormElement} form
    @param {HTMLElement} refusal
    @param {() => Promise<unknown>} work
    @param {(fault: Fault) => void} failed */
async function trying(form, refusal, work, failed) {
  const buttons = form.querySelectorAll("button");
  for (const one of buttons) one.disabled = true;
  refusal.hidden = true;
  try {
    await work();
  } catch (fault) {
    failed(/** @type {Fault} */ (fault));
    refusal.textContent = /** @type {Error} */ (fault).message;
    refusal.hidden = false;
    for (const one of buttons) one.disabled = false;
  }
}
