/* Making and showing passkeys (WebAuthn). A form says which in `data-passkey`, with what the
   server asks for in `data-options`; what the browser answers is sent as its field `credential`. */

/** @param {string} text */
const bytes = (text) =>
  Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (one) => one.charCodeAt(0));

/** @param {ArrayBuffer | null} buffer */
const text = (buffer) =>
  buffer && btoa(String.fromCharCode(...new Uint8Array(buffer)))
    .replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");

/** @param {PublicKeyCredentialDescriptorJSON[]} [list] */
const named = (list = []) => list.map((one) => ({ ...one, id: bytes(one.id) }));

const ways = {
  create: (/** @type {PublicKeyCredentialCreationOptionsJSON} */ asked) =>
    navigator.credentials.create({
      publicKey: /** @type {PublicKeyCredentialCreationOptions} */ ({
        ...asked,
        challenge: bytes(asked.challenge),
        user: { ...asked.user, id: bytes(asked.user.id) },
        excludeCredentials: named(asked.excludeCredentials),
      }),
    }),
  get: (/** @type {PublicKeyCredentialRequestOptionsJSON} */ asked) =>
    navigator.credentials.get({
      publicKey: /** @type {PublicKeyCredentialRequestOptions} */ ({
        ...asked,
        challenge: bytes(asked.challenge),
        allowCredentials: named(asked.allowCredentials),
      }),
    }),
};

/** @typedef {AuthenticatorResponse & Partial<AuthenticatorAttestationResponse & AuthenticatorAssertionResponse>} Answer */
const PARTS = /** @type {const} */ ([
  "attestationObject",
  "authenticatorData",
  "signature",
  "userHandle",
]);

/** The credential as the server reads it (WebAuthn Level 3, RegistrationResponseJSON and
    AuthenticationResponseJSON).
    @param {PublicKeyCredential} credential */
function asJson(credential) {
  const response = /** @type {Answer} */ (credential.response);
  /** @type {Record<string, unknown>} */
  const encoded = { clientDataJSON: text(response.clientDataJSON) };
  for (const name of PARTS) {
    if (response[name]) encoded[name] = text(response[name]);
  }
  if (response.getTransports) encoded.transports = response.getTransports();
  return {
    id: credential.id,
    rawId: text(credential.rawId),
    type: credential.type,
    authenticatorAttachment: credential.authenticatorAttachment,
    response: encoded,
    clientExtensionResults: credential.getClientExtensionResults(),
  };
}

/** @param {Error} fault */
function why(fault) {
  if (fault.name === "InvalidStateError") return "This device holds a passkey of yours already.";
  if (fault.name === "NotAllowedError") {
    return "Nothing was used: it was stopped, or took too long.";
  }
  return `The browser could not do it: ${fault.message}`;
}

/** @param {SubmitEvent} event */
async function ask(event) {
  event.preventDefault();
  const form = /** @type {HTMLFormElement} */ (event.currentTarget);
  if (!form.reportValidity()) return;
  const refusal = /** @type {HTMLElement} */ (form.querySelector(".refused"));
  refusal.hidden = true;
  try {
    const asked = JSON.parse(form.dataset.options ?? "").publicKey;
    const credential = await ways[/** @type {keyof typeof ways} */ (form.dataset.passkey)](asked);
    const sent = /** @type {HTMLInputElement} */ (form.elements.namedItem("credential"));
    sent.value = JSON.stringify(asJson(/** @type {PublicKeyCredential} */ (credential)));
    form.submit();
  } catch (fault) {
    refusal.textContent = why(/** @type {Error} */ (fault));
    refusal.hidden = false;
  }
}

if (globalThis.PublicKeyCredential) {
  /** @type {NodeListOf<HTMLFormElement>} */
  const forms = document.querySelectorAll("form[data-passkey]");
  for (const form of forms) {
    form.addEventListener("submit", ask);
    form.hidden = false;
  }
}
