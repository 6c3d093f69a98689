/* Forms that make a recovery key (`data-recovery="make"`) or state something with one ("use"). What
   is typed or printed has no name, so no form sends it: only the signature is sent. */

import { fingerprint, fromHex, Refused } from "../shared/bytes.js";
import { keyOf, sign } from "./key.js";
import { read, SECRET_BYTES, spelled } from "./spelling.js";

const NO_ED25519 =
  "This browser does not know the kind of signature used here (Ed25519). Use the command instead.";

/** @param {ParentNode} where
    @param {string} name */
const part = (where, name) => /** @type {HTMLElement} */ (where.querySelector(`[data-${name}]`));

/** @param {HTMLFormElement} form
    @param {string} name */
const field = (form, name) => /** @type {HTMLInputElement} */ (form.elements.namedItem(name));

/** Signs the form's fact with the key and puts what is to be sent into its fields.
    @param {HTMLFormElement} form
    @param {import("./key.js").RecoveryKey} key
    @param {string} device
    @param {string} kind
    @param {any} body */
async function fill(form, key, device, kind, body) {
  const about = form.dataset.keeper ?? "";
  const fact = { id: field(form, "id").value, at: field(form, "at").value, kind, about, body };
  field(form, "device").value = device;
  field(form, "sig").value = await sign(key, fact, device);
}

/** @param {HTMLFormElement} form */
async function make(form) {
  const secret = crypto.getRandomValues(new Uint8Array(SECRET_BYTES));
  const key = await keyOf(secret);
  const device = crypto.randomUUID();
  const body = { device, key: key.publicKey, recovery: true };
  await fill(form, key, device, "device_key_enrolled", body);
  field(form, "key").value = key.publicKey;
  const sheet = part(document, "sheet");
  part(sheet, "words").textContent = spelled(secret);
  part(sheet, "fingerprint").textContent = await fingerprint(fromHex(key.publicKey));
  sheet.hidden = false;
  part(form, "made").hidden = false;
  part(form, "make").hidden = true;
}

/** @param {HTMLFormElement} form */
async function use(form) {
  const typed = /** @type {HTMLTextAreaElement} */ (part(form, "typed"));
  const wanted = /** @type {HTMLSelectElement} */ (part(form, "wanted")).selectedOptions[0];
  const key = await keyOf(read(typed.value));
  /** @type {{ device: string, key: string }[]} */
  const known = JSON.parse(form.dataset.keys ?? "[]");
  const found = known.find((one) => one.key === key.publicKey);
  if (!found) {
    throw new Refused("It is spelled well, but is no recovery key of yours that still counts.");
  }
  const { kind = "", body = "{}" } = wanted.dataset;
  field(form, "chosen").value = kind;
  field(form, "stated").value = body;
  await fill(form, key, found.device, kind, JSON.parse(body));
  form.submit();
}

/** Does it, and says in the form why it could not.
    @param {HTMLFormElement} form
    @param {(form: HTMLFormElement) => Promise<void>} act */
async function tried(form, act) {
  const refusal = /** @type {HTMLElement} */ (form.querySelector(".refused"));
  refusal.hidden = true;
  try {
    await act(form);
  } catch (fault) {
    const { name, message } = /** @type {Error} */ (fault);
    if (!(fault instanceof Refused) && name !== "NotSupportedError") throw fault;
    refusal.textContent = fault instanceof Refused ? `${message} Nothing was sent.` : NO_ED25519;
    refusal.hidden = false;
  }
}

/** @type {NodeListOf<HTMLFormElement>} */
const forms = document.querySelectorAll("form[data-recovery]");
for (const form of forms) {
  form.hidden = false;
  if (form.dataset.recovery === "make") {
    part(form, "make").addEventListener("click", () => tried(form, make));
    part(form, "print").addEventListener("click", () => print());
  } else {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      tried(form, use);
    });
  }
}
