/* The app's own shell: kept for working without a signal, replaced only when asked or when all
   its pages are closed (starting.js then loads the page anew). What is stored on the phone is not
   touched by that. */

import { element, within } from "./dom.js";

const HOUR = 3_600_000;

export async function install() {
  if (!navigator.serviceWorker) return;
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
