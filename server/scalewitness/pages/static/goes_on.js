/* A list that is being stored goes on by itself while its page is open. Without script there is its
   button. */

/** @type {HTMLFormElement | null} */
const going = document.querySelector("form[data-goes-on]");
going?.requestSubmit();
