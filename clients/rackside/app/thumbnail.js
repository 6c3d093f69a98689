/* A photo of the record, small enough to be kept on the phone once it was seen. */

import { bytesOf, Refused } from "../net/api.js";
import { keepSmall } from "../store/facts.js";
import { state } from "./state.js";

const LONGEST = 320; // pixels
const QUALITY = 0.7;

/** Its address as data, or why there is nothing to show, in words.
    @param {KeptFact} photo
    @returns {Promise<{ address: string } | string>} */
export async function thumbnail(photo) {
  if (photo.small) return { address: await asData(photo.small) };
  const token = state.session?.expired ? "" : state.session?.token;
  if (!navigator.onLine || !token) return "Not seen on this phone yet: it comes with a signal.";
  try {
    const small = await shrunk(await bytesOf(`photos/${photo.id}`, { token }));
    await keepSmall(photo.id, small);
    return { address: await asData(small) };
  } catch (fault) {
    const { status } = /** @type {Fault} */ (fault);
    if (fault instanceof Refused && status === 404) return "The picture itself is not there.";
    return "It could not be fetched now.";
  }
}

/** @param {ArrayBuffer} bytes of a JPEG file */
async function shrunk(bytes) {
  const found = await createImageBitmap(new Blob([bytes], { type: "image/jpeg" }));
  const scale = Math.min(1, LONGEST / Math.max(found.width, found.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(found.width * scale));
  canvas.height = Math.max(1, Math.round(found.height * scale));
  /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"))
    .drawImage(found, 0, 0, canvas.width, canvas.height);
  found.close();
  /** @type {Blob | null} */
  const drawn = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
  if (!drawn) throw new Error("the picture could not be made small");
  return await drawn.arrayBuffer();
}

/** As data: other addresses are not allowed here.
    @param {ArrayBuffer} bytes
    @returns {Promise<string>} */
function asData(bytes) {
  return new Promise((resolve, reject) => {
    const reader = new FileReader();
    reader.onload = () => resolve(String(reader.result));
    reader.onerror = () => reject(reader.error);
    reader.readAsDataURL(new Blob([bytes], { type: "image/jpeg" }));
  });
}
