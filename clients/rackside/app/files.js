/* Files that its keeper takes off this phone. */

import { h } from "./dom.js";

/** Hands it to the browser's downloads.
    @param {string} name
    @param {string} text */
export function saveFile(name, text) {
  const address = URL.createObjectURL(new Blob([text], { type: "application/json" }));
  const link = h("a", { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}
