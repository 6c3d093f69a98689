/* Says what has just been done, and lets it be undone for as long as sending waits. */

import { lastUndoable, undoable } from "../pure/undo.js";
import { element } from "./dom.js";
import { state } from "./state.js";
import { undo } from "./undo.js";

let text = "";
/** @type {string[]} */
let next = []; // what is undone by the button, from the next change of view on
/** @type {string[]} */
let ids = [];
let of = ""; // what was said when that was stored
/** @type {ReturnType<typeof setTimeout> | undefined} */
let timer;

const secondsLeft = () => undoable(state.outbox, ids, Date.now());

/** Changes the view and says what has just been done there; it stands until the next change.
    `undo`: the ids of what was stored by it.
    @param {string} said
    @param {string} hash
    @param {{ undo?: string[] }} [given] */
export function announce(said, hash, { undo = [] } = {}) {
  text = said;
  next = undo;
  if (location.hash === hash) showAnnouncement();
  else location.hash = hash;
}

/** Called at each change of view. What can be undone can be from every view. */
export function showAnnouncement() {
  if (next.length) [ids, of] = [next, text];
  element("announcement").textContent = text || (secondsLeft() ? of : "");
  text = "";
  next = [];
  showUndo();
}

/** After the page was opened again: what was stored a moment before can still be undone. */
export function offerUndo() {
  ids = lastUndoable(state.outbox, Date.now());
  const one = state.outbox.find(({ id }) => id === ids[0]);
  if (one) element("announcement").textContent = of = `${one.shown.title}: saved here.`;
  showUndo();
}

/** Called at each change of what is stored. */
export function showUndo() {
  clearTimeout(timer);
  const seconds = secondsLeft();
  const button = element("undo");
  button.hidden = !seconds;
  if (!seconds) return;
  timer = setTimeout(showUndo, seconds * 1000);
  button.onclick = async () => {
    const { told, hash } = await undo(ids);
    announce(told, hash ?? location.hash);
  };
}
