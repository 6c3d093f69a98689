/* What the views show: the store read into memory, and word of every change, also in other tabs. */

import { all, get } from "../store/db.js";

const others = new BroadcastChannel("rackside");
const listeners = new Set();

export const state = {
  session: null, key: null, refreshed: null, visits: [], animals: [], outbox: [], fault: "",
};

export async function load() {
  const [session, key, refreshed, visits, animals, outbox] = await Promise.all([
    get("meta", "session"), get("meta", "key"), get("meta", "refreshed"),
    all("visits"), all("animals"), all("outbox"),
  ]);
  Object.assign(state, {
    session: session ?? null, key: key ?? null, refreshed: refreshed ?? null, visits,
    animals: animals.sort((a, b) => a.order - b.order),
    outbox: outbox.sort((a, b) => b.order - a.order),
  });
}

export function onChange(listener) {
  listeners.add(listener);
}

/** Reads the store again and tells every view, here and in other tabs. */
export async function changed() {
  others.postMessage("changed");
  await reread();
}

async function reread() {
  await load();
  listeners.forEach((listener) => listener());
}

others.onmessage = reread;

export const visitOf = (id) => state.visits.find((one) => one.id === id);
export const animalsOf = (visit) => state.animals.filter((one) => one.visit === visit);
export const callsOn = (animal, visit) =>
  state.outbox.filter((one) => one.fact.about === animal && one.shown.visit === visit &&
    one.fact.kind === "call_made" && one.state !== "aside");
