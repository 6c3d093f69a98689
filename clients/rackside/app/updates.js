/* The app's own shell: kept for working without a signal, replaced only when asked or when all
   its pages are closed. What is stored on the phone is not touched by that. */

import { element, within } from "./dom.js";

const HOUR = 3_600_000;

export async function install() {
  if (!navigator.serviceWorker) return;
  let had = Boolean(navigator.serviceWorker.controller);
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    if (had) location.reload(); // drafts are kept, see views/log.js
    had = true; // the first worker only begins to serve the page that brought it
  });
  try {
    const worker = await navigator.serviceWorker.register("sw.js");
    offer(worker);
    worker.addEventListener("updatefound", () => {
      worker.installing?.addEventListener("statechange", () => offer(worker));
    });
    setInterval(() => worker.update().catch(() => null), HOUR);
  } catch {
    // Without a worker the app still works while there is a signal; the next visit tries again.
  }
}

/** @param {ServiceWorkerRegistration} worker */
function offer(worker) {
  if (!worker.waiting || !navigator.serviceWorker.controller) return;
  const bar = element("newer");
  bar.hidden = false;
  within(bar, "button").onclick = () => worker.waiting?.postMessage("take over");
}
