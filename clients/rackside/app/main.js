/* Starts the app: reads the store, shows the view the address names, keeps itself up to date. */

import { account } from "../views/account.js";
import { calls } from "../views/calls.js";
import { log } from "../views/log.js";
import { sheet } from "../views/sheet.js";
import { signin } from "../views/signin.js";
import { visits } from "../views/visits.js";
import { head, say, signedIn } from "./shell.js";
import { load, onChange } from "./state.js";
import { sync, watch } from "./sync.js";
import { install } from "./updates.js";

const ROUTES = [
  [/^#\/visit\/(?<id>[\w-]+)$/, sheet],
  [/^#\/log\/(?<visit>[\w-]+)\/(?<animal>[\w-]+)$/, log],
  [/^#\/calls$/, calls],
  [/^#\/phone$/, account],
];

let view = null;
let wasSignedIn = null;

function route() {
  const [path, query] = location.hash.split("?");
  for (const [form, made] of ROUTES) {
    const found = form.exec(path);
    if (found) return () => made({ ...found.groups, ...Object.fromEntries(new URLSearchParams(query)) });
  }
  return visits;
}

async function show({ moved }) {
  await view?.leave?.();
  wasSignedIn = signedIn();
  const made = wasSignedIn ? await route()() : signin();
  view = made;
  document.title = `${made.title} · Rackside`;
  document.getElementById("main").replaceChildren(made.node);
  document.querySelectorAll("#nav a").forEach((link) => {
    const here = link.hash === location.hash || (link.hash === "#/" && !location.hash);
    link.toggleAttribute("aria-current", here);
  });
  if (moved) {
    scrollTo(0, 0);
    made.node.querySelector("h1")?.focus();
  }
}

function update() {
  head();
  if (signedIn() !== wasSignedIn) return show({ moved: true });
  if (view.editing || view.update?.()) return null;
  return show({ moved: false });
}

async function start() {
  await load();
  head();
  await show({ moved: false });
  onChange(update);
  addEventListener("hashchange", () => { say(); show({ moved: true }); });
  addEventListener("pagehide", () => view?.leave?.());
  ["online", "offline"].forEach((name) => addEventListener(name, head));
  watch();
  install();
  await sync();
}

start().catch((fault) => {
  document.getElementById("said").textContent = fault.name === "VersionError"
    ? "A newer version of this app has been here. Close it in all tabs and open it again."
    : `This phone’s store could not be opened: ${fault.message}`;
});
