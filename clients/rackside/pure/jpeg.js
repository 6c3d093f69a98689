/* A JPEG file without what is not its picture (ITU-T T.81, annex B).

   Browsers write a colour profile into what they draw; the record takes none, as it may tell
   of the screen. */

const SCAN = 0xda;
/** @param {number} marker */
const LEFT_OUT = (marker) =>
  (marker > 0xe0 && marker <= 0xef && marker !== 0xee) || marker === 0xfe;

/** `file`: an ArrayBuffer as a browser's encoder wrote it.
    @param {ArrayBuffer} file */
export function bare(file) {
  const bytes = new Uint8Array(file);
  const parts = [bytes.subarray(0, 2)];
  let at = 2;
  while (bytes[at + 1] !== SCAN) {
    if (bytes[at] !== 0xff) throw new Error("not a JPEG file");
    const end = at + 2 + bytes[at + 2] * 256 + bytes[at + 3];
    if (!LEFT_OUT(bytes[at + 1])) parts.push(bytes.subarray(at, end));
    at = end;
  }
  parts.push(bytes.subarray(at));
  return new Blob(parts).arrayBuffer();
}
