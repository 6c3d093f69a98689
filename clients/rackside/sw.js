/* Keeps the app's own files for working without a signal. The server puts before this text
   `const SHELL = {version, files: {path: sha256}}`: other files are another worker.

   Files of one version only: each is held to its hash, or the worker is not installed and the
   one before goes on. Nothing of a keeper's is kept here; requests to the API pass by. */

const worker = /** @type {ShellWorker} */ (/** @type {unknown} */ (self));
const PREFIX = "rackside-";
const CACHE = PREFIX + SHELL.version;

worker.addEventListener("install", (event) => event.waitUntil(fill()));
worker.addEventListener("activate", (event) => event.waitUntil(takeOver()));
worker.addEventListener("message", (event) => {
  if (event.data === "take over") worker.skipWaiting();
});
worker.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  const path = address.pathname.slice(new URL(worker.registration.scope).pathname.length);
  if (event.request.method !== "GET" || !event.request.url.startsWith(worker.registration.scope)) {
    return;
  }
  if (event.request.mode === "navigate") event.respondWith(kept("", event.request));
  else if (path in SHELL.files) event.respondWith(kept(path, event.request));
});

async function fill() {
  const cache = await caches.open(CACHE);
  await Promise.all(
    Object.entries(SHELL.files).map(async ([path, hash]) => {
      await cache.put(worker.registration.scope + path, await file(path, hash));
    }),
  );
}

/** As the page that installs this just fetched it, where that is this version's: on a weak signal
    nothing is asked for twice.
    @param {string} path
    @param {string} hash */
async function file(path, hash) {
  const address = worker.registration.scope + path;
  for (const cache of /** @type {RequestCache[]} */ (["force-cache", "reload"])) {
    const answer = await fetch(address, { cache, credentials: "omit" });
    if (answer.ok && (await sha256(answer.clone())) === hash) return answer;
  }
  throw new Error(`another version of ${path}`);
}

async function takeOver() {
  const old = (await caches.keys()).filter((name) => name.startsWith(PREFIX) && name !== CACHE);
  await Promise.all(old.map((name) => caches.delete(name)));
  await worker.clients.claim();
}

/** @param {string} path
    @param {Request} request */
async function kept(path, request) {
  const cache = await caches.open(CACHE);
  return (await cache.match(worker.registration.scope + path)) ?? fetch(request);
}

/** @param {Response} answer */
async function sha256(answer) {
  const digest = await crypto.subtle.digest("SHA-256", await answer.arrayBuffer());
  return Array.from(new Uint8Array(digest), (one) => one.toString(16).padStart(2, "0")).join("");
}
