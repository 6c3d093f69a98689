/* Watches over the start of the app. It is no module, so it runs where one of the app's cannot be
   fetched, or is of another version than the rest: then the page says so. It tries again only
   when asked, and loads the page anew by itself only when another version takes over. */

const unstarted = /** @type {HTMLElement} */ (document.getElementById("unstarted"));
const shell = navigator.serviceWorker;
let had = Boolean(shell?.controller);

addEventListener(
  "error",
  ({ target }) => {
    const isScripts = target === window || target instanceof HTMLScriptElement;
    if (isScripts) unstarted.classList.remove("awaited");
  },
  { capture: true },
);

shell?.addEventListener("controllerchange", () => {
  if (had) location.reload(); // drafts are kept, see views/log.js
  had = true; // the first worker only begins to serve the page that brought it
});

unstarted.querySelector("a")?.addEventListener("click", async (event) => {
  event.preventDefault(); // the link alone would lose the place
  const worker = await shell?.getRegistration().catch(() => null);
  if (!worker?.waiting) return location.reload();
  had = true;
  worker.waiting.postMessage("take over"); // this version may never start
});
