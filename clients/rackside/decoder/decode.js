/* What a QR code or a Code 128 in a picture says, for browsers that cannot tell. Loaded on demand. */

import {
  BinaryBitmap,
  Code128Reader,
  DecodeHintType,
  HybridBinarizer,
  QRCodeReader,
  RGBLuminanceSource,
} from "./zxing.js";

const HINTS = new Map([[/** @type {any} */ (DecodeHintType).TRY_HARDER, true]]);

/** Null where none is seen.
    @param {{ data: Uint8ClampedArray, width: number, height: number }} picture RGBA, as a canvas has it
    @returns {string | null} */
export function decode({ data, width, height }) {
  const grey = new Uint8ClampedArray(width * height);
  for (let at = 0; at < grey.length; at += 1) {
    grey[at] = (data[4 * at] + 2 * data[4 * at + 1] + data[4 * at + 2]) / 4; // green is seen best
  }
  const source = new RGBLuminanceSource(grey, width, height);
  for (const reader of [new QRCodeReader(), new Code128Reader()]) {
    try {
      return reader.decode(new BinaryBitmap(new HybridBinarizer(source)), HINTS).getText();
    } catch { // not this kind, or not to be read: the next picture is
    }
  }
  return null;
}
