/* Starts the app: reads the store, shows the view the address names, keeps itself up to date. */

import { account } from "../views/account.js";
import { animal } from "../views/animal.js";
import { calls } from "../views/calls.js";
import { care } from "../views/care.js";
import { found } from "../views/found.js";
import { hatch } from "../views/hatch.js";
import { hatchBegin } from "../views/hatch_begin.js";
import { hatchList } from "../views/hatch_list.js";
import { hatchSex, hatchWeigh } from "../views/hatch_rounds.js";
import { hatchYoung } from "../views/hatch_young.js";
import { log } from "../views/log.js";
import { move } from "../views/move.js";
import { own } from "../views/own.js";
import { rack } from "../views/rack.js";
import { scan } from "../views/scan.js";
import { season } from "../views/season.js";
import { sheet } from "../views/sheet.js";
import { signin } from "../views/signin.js";
import { visits } from "../views/visits.js";
import { remember } from "./cleared.js";
import { element } from "./dom.js";
import {
  head,
  isSignedOut,
  measureFoot,
  offerUndo,
  showAnnouncement,
  showPlace,
  SIGN_IN,
  signedIn,
} from "./shell.js";
import { listenToReaders, scanned } from "./scanner.js";
import { onRoom } from "../store/db.js";
import { forgetOld } from "../store/outbox.js";
import { isOpen, load, onChange, state } from "./state.js";
import { sync, watch } from "./sync.js";
import { install } from "./updates.js";

/** @type {[RegExp, (given: any) => View | Promise<View>][]} */
const ROUTES = [
  [/^#\/visit\/(?<id>[\w-]+)$/, sheet],
  [/^#\/log\/(?<visit>[\w-]+)\/(?<animal>[\w-]+)$/, log],
  [/^#\/own$/, own],
  [/^#\/hatch$/, hatch],
  [/^#\/hatch\/new$/, hatchBegin],
  [/^#\/hatch\/(?<id>[\w-]+)$/, hatchList],
  [/^#\/hatch\/(?<id>[\w-]+)\/weigh$/, hatchWeigh],
  [/^#\/hatch\/(?<id>[\w-]+)\/sex$/, hatchSex],
  [/^#\/hatch\/(?<id>[\w-]+)\/(?<animal>[\w-]+)$/, hatchYoung],
  [/^#\/own\/(?<id>[\w-]+)$/, animal],
  [/^#\/own\/(?<id>[\w-]+)\/move$/, move],
  [/^#\/own\/(?<id>[\w-]+)\/(?<what>weight|meal|shed|remark)$/, care],
  [/^#\/rack\/(?<name>[^?]*)$/, rack],
  [/^#\/found\/(?<code>[^?]+)$/, found],
  [/^#\/scan$/, scan],
  [/^#\/season\/(?<id>[\w-]+)$/, season],
  [/^#\/calls$/, calls],
  [/^#\/phone$/, account],
];
const TICK = 1000; // milliseconds between looks at whether a visit has opened

/** @type {View | null} */
let view = null;
/** @type {"in" | "ended" | "out" | null} */
let was = null; // how the view was made: in, ended or out
let whose = ""; // for whom
let turns = 0; // how many views were asked for

function route() {
  const [path, query] = location.hash.split("?");
  for (const [form, made] of ROUTES) {
    const found = form.exec(path);
    if (found) {
      const named = Object.entries(found.groups ?? {}).map(([name, text]) => [name, plain(text)]);
      return () => made(Object.fromEntries([...named, ...new URLSearchParams(query)]));
    }
  }
  return visits;
}

/** As it reads, an address that somebody mistyped too.
    @param {string} escaped */
function plain(escaped) {
  try {
    return decodeURIComponent(escaped);
  } catch {
    return escaped;
  }
}

/** @param {{ moved: boolean }} how */
async function show({ moved }) {
  const turn = (turns += 1);
  await view?.leave?.();
  note();
  const asked = !state.session || (isSignedOut() && location.hash === SIGN_IN);
  /** @type {View} */
  const made = asked ? signin() : await route()();
  if (turn !== turns) return; // one left again before it was made, as by a second scan
  view = made;
  document.title = `${made.title} · Rackside`;
  element("main").replaceChildren(made.node);
  showPlace();
  head();
  if (!moved || made.arrive?.()) return;
  scrollTo(0, 0);
  made.node.querySelector("h1")?.focus();
}

function update() {
  head();
  if (standing() !== was || keeper() !== whose) return entered();
  if (view?.editing || view?.update?.()) return null;
  return show({ moved: false });
}

/** After signing in or out, by whomever. A form being filled in is left alone, but not to somebody
    else: a page at rest may hear late that another signed in. */
function entered() {
  const before = was;
  const isOthers = whose !== "" && keeper() !== whose;
  note();
  if (view?.filling && was !== "out" && !isOthers) return null;
  const anew = before === "ended" || isOthers ? "#/" : null;
  const target = { ended: SIGN_IN, in: anew, out: null }[standing()];
  if (!target || location.hash === target) return show({ moved: true });
  location.hash = target; // shown by its own event
  return null;
}

const standing = () => (signedIn() ? "in" : isSignedOut() ? "ended" : "out");

const keeper = () => state.session?.keeper ?? "";

/** Notes for whom the view is made. */
function note() {
  was = standing();
  whose = keeper();
}

/** Visits open by themselves, also without a signal. */
function watchVisits() {
  const open = () => state.visits.filter(isOpen).map(({ id }) => id).join();
  let before = open();
  setInterval(() => {
    const found = open();
    if (found === before) return;
    before = found;
    update();
  }, TICK);
}

async function start() {
  measureFoot();
  await forgetOld(Date.now());
  await load();
  head();
  await show({ moved: false });
  offerUndo();
  listenToReaders((codes) => scanned(codes, "reader", view));
  onChange(update);
  onChange(remember);
  onRoom((full) => {
    if (state.full === full) return;
    state.full = full;
    head();
  });
  addEventListener("hashchange", () => {
    showAnnouncement();
    head();
    show({ moved: true });
  });
  addEventListener("pagehide", () => view?.leave?.());
  addEventListener("online", head);
  addEventListener("offline", head);
  watch();
  watchVisits();
  install();
  await sync();
}

start().catch((fault) => {
  document.getElementById("unstarted")?.classList.remove("awaited");
  element("announcement").textContent = fault.name === "VersionError"
    ? "A newer version of this app has been here. Close it in all tabs and open it again."
    : `This phone’s store could not be opened: ${fault.message}`;
});
