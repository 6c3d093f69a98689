/* The photos of a call that is being logged. */

import { h } from "../app/dom.js";
import { LARGEST, MOST, reencoded } from "../app/picture.js";

/** `form.photos` holds the files' bytes.
    @param {CallForm} form
    @param {() => void} change */
export function photos(form, change) {
  const held = (form.photos ??= []);
  const shown = h("ul", { class: "thumbs" });
  const status = h("p", { class: "fine", role: "status" });
  const input = h("input", {
    type: "file",
    id: "photo",
    accept: "image/*",
    "aria-describedby": "photo-help",
    onchange: () => take(),
  });
  const show = () => {
    shown.replaceChildren(...held.map((bytes, at) => thumb(bytes, at, () => remove(at))));
    input.disabled = held.length >= MOST;
  };
  const remove = (/** @type {number} */ at) => {
    held.splice(at, 1);
    status.textContent = "Photo removed.";
    show();
    change();
    input.focus();
  };
  async function take() {
    const [file] = input.files ?? [];
    input.value = "";
    if (!file) return;
    if (file.size > LARGEST) {
      status.textContent = `A picture may have at most ${
        LARGEST / 1e6
      } MB: save a smaller copy, and choose that.`;
      return;
    }
    try {
      held.push(await reencoded(file));
      status.textContent = `Photo ${held.length} is with the call.`;
    } catch {
      status.textContent = "This file is not a picture that can be read.";
    }
    show();
    change();
  }
  show();
  return h(
    "div",
    { class: "field", "data-field": "photo" },
    h("label", { for: "photo" }, "Photo of the check"),
    h(
      "p",
      { class: "help", id: "photo-help" },
      `Up to ${MOST}. Re-encoded, so that its location and camera data are not kept.`,
    ),
    input,
    status,
    shown,
  );
}

/** @param {ArrayBuffer} bytes
    @param {number} at
    @param {() => void} remove */
function thumb(bytes, at, remove) {
  const image = h("img", { alt: `Photo ${at + 1}` });
  const reader = new FileReader();
  reader.onload = () => {
    image.src = String(reader.result);
  }; // as data: other addresses are not allowed here
  reader.readAsDataURL(new Blob([bytes], { type: "image/jpeg" }));
  return h(
    "li",
    {},
    image,
    h("button", { type: "button", class: "plain", onclick: remove }, `Remove photo ${at + 1}`),
  );
}
