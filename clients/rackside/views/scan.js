/* The camera, held to a label: it opens that animal. */

import { watch } from "../app/camera.js";
import { h } from "../app/dom.js";
import { scanned } from "../app/scanner.js";

/** @type {Record<string, string>} */
const WHY = {
  NotAllowedError:
    "The camera was not allowed. Allow it in the browser’s settings of this site, or find the animal by its tag.",
  NotFoundError: "This device has no camera that can be used here. Find the animal by its tag.",
};
const OTHER = "The camera cannot be used now. Find the animal by its tag.";

export function scan() {
  const video = h("video", {
    playsinline: true,
    muted: true,
    "aria-label": "The camera’s picture",
  });
  const status = h(
    "p",
    { role: "status" },
    "Hold the camera to the label: a QR code or a bar code.",
  );
  let left = false;
  let stop = () => {};
  watch(video, (text) => scanned([text], "camera", null)).then((end) => {
    stop = end;
    if (left) stop();
  }, (fault) => {
    video.hidden = true;
    status.textContent = WHY[fault?.name] ?? OTHER;
  });
  return {
    title: "Scan a label",
    editing: true,
    leave: () => {
      left = true;
      stop();
    },
    node: h(
      "section",
      { class: "scan" },
      h("h1", { tabindex: "-1" }, "Scan a label"),
      video,
      status,
      h(
        "p",
        { class: "actions" },
        h("button", { type: "button", class: "plain", onclick: () => history.back() }, "Back"),
      ),
    ),
  };
}
