// On every page of a keeper: where this browser holds a key of theirs, what they send is signed.

import { keyOf } from "./keys.js";

const keeper = document.querySelector("script[data-keeper]")?.getAttribute("data-keeper") ?? "";

/** Null also where the browser keeps nothing: then it holds no key. */
const key = await keyOf(keeper).catch(() => null);
if (key) {
  const { signWith } = await import("./sending.js");
  signWith(key);
}
