/* Reads labels with the camera: by the browser's own detection, else by a decoder loaded on demand. */

const FORMATS = ["qr_code", "code_128"];
const REST = 150; // milliseconds between pictures: a phone stays cool
const WIDEST = 960; // pixels that are looked at

/** Shows the camera's picture and calls `seen` once with the text of the first label it can read; a
    function to stop. Throws where the camera cannot be had.
    @param {HTMLVideoElement} video
    @param {(text: string) => void} seen */
export async function watch(video, seen) {
  const [stream, look] = await Promise.all([
    navigator.mediaDevices.getUserMedia({
      video: { facingMode: "environment", width: { ideal: WIDEST } },
    }),
    detection(),
  ]);
  let on = true;
  const stop = () => {
    on = false;
    stream.getTracks().forEach((track) => track.stop());
  };
  video.srcObject = stream;
  await video.play();
  const next = async () => {
    const text = on && video.videoWidth ? await look(video) : null;
    if (!on) return;
    if (!text) {
      setTimeout(next, REST);
      return;
    }
    stop();
    seen(text);
  };
  next();
  return stop;
}

/** @typedef {(video: HTMLVideoElement) => Promise<string | null> | string | null} Look */

/** @returns {Promise<Look>} */
async function detection() {
  const Detector = /** @type {any} */ (globalThis).BarcodeDetector;
  const formats = await Detector?.getSupportedFormats?.().catch(() => []) ?? [];
  if (!FORMATS.every((one) => formats.includes(one))) return await decoding();
  const detector = new Detector({ formats: FORMATS });
  return async (video) => {
    const found = await detector.detect(video).catch(() => []); // no picture yet
    return found[0]?.rawValue ?? null;
  };
}

/** @returns {Promise<Look>} */
async function decoding() {
  const { decode } = await import("../decoder/decode.js");
  const canvas = document.createElement("canvas");
  const drawn = /** @type {CanvasRenderingContext2D} */ (
    canvas.getContext("2d", { willReadFrequently: true })
  );
  return (video) => {
    const scale = Math.min(1, WIDEST / video.videoWidth);
    canvas.width = Math.round(video.videoWidth * scale);
    canvas.height = Math.round(video.videoHeight * scale);
    drawn.drawImage(video, 0, 0, canvas.width, canvas.height);
    return decode(drawn.getImageData(0, 0, canvas.width, canvas.height));
  };
}
