/* A picture re-encoded: upright, not too large, and nothing in the file but the picture. */

import { bare } from "../pure/jpeg.js";

const LONGEST = 2048; // pixels, as the server takes
/** Tried in turn until the file is small: a phone at the racks keeps hundreds (our judgement). */
const QUALITIES = [0.85, 0.7, 0.55];
const SMALL = 700_000; // bytes
export const MOST = 6;
export const LARGEST = 25_000_000; // bytes of a file to re-encode, as on the pages

/** The bytes of a JPEG file, shrunk before anything is kept of it. Throws where the file is no picture the phone can read.
    @param {File} file */
export async function reencoded(file) {
  const found = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, LONGEST / Math.max(found.width, found.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(found.width * scale));
  canvas.height = Math.max(1, Math.round(found.height * scale));
  /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d", { alpha: false })).drawImage(
    found,
    0,
    0,
    canvas.width,
    canvas.height,
  );
  found.close();
  return bare(await smallest(canvas).then((drawn) => drawn.arrayBuffer()));
}

/** @param {HTMLCanvasElement} canvas
    @returns {Promise<Blob>} */
async function smallest(canvas) {
  let drawn = null;
  for (const quality of QUALITIES) {
    drawn = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", quality));
    if (!drawn) throw new Error("the picture could not be re-encoded");
    if (drawn.size <= SMALL) break;
  }
  return /** @type {Blob} */ (/** @type {unknown} */ (drawn));
}
