// The page “This browser”: shows which of the keeper's devices it is, and enrols it as one.

import { fingerprint, hex } from "../shared/bytes.js";
import { forget, keep, keyOf, make } from "./keys.js";
import { take } from "./sending.js";

const keeper = document.querySelector("script[data-keeper]")?.getAttribute("data-keeper") ?? "";
/** @type {NodeListOf<HTMLElement>} */
const states = document.querySelectorAll("[data-signing]");

/** @param {...string} names */
function show(...names) {
  for (const one of states) one.hidden = !names.includes(one.dataset.signing ?? "");
}

async function look() {
  const key = await keyOf(keeper);
  const own = key && [...states].find(({ dataset }) => dataset.signing === key.device);
  if (own) {
    const print = own.querySelector("[data-print]");
    if (print) print.textContent = await fingerprint(key.public);
    return show(key.device);
  }
  if (key) await forget(keeper);
  const canSign = await make(keeper, "") !== null;
  show(...(key ? ["ended"] : []), canSign ? "new" : "unable");
}

/** @type {HTMLFormElement | null} */
const form = document.querySelector("form[data-says=device_key_enrolled]");
form?.addEventListener("submit", (event) =>
  take(event, form, async () => {
    const [device, field] = ["device", "key"].map((
      name,
    ) => /** @type {HTMLInputElement} */ (form.elements.namedItem(name)));
    const key = await make(keeper, device.value);
    if (!key) return null;
    field.value = hex(key.public);
    await keep(key);
    await navigator.storage?.persist?.(); // else a full disk could take it away
    return key;
  }));

look().catch(() => show("unable"));
