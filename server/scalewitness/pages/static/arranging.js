/* The checks of a planned visit in the order one drags them to. Without script, and by touch, “Up” and
   “Down” do it; either way the address holds the order. */

/** @type {NodeListOf<HTMLElement>} */
const plans = document.querySelectorAll("[data-arrange]");
for (const plan of plans) {
  /** @type {HTMLElement | null} */
  let held = null;
  const line = (/** @type {Event} */ event) =>
    event.target instanceof Element
      ? /** @type {HTMLElement | null} */ (event.target.closest("[data-animal]"))
      : null;
  for (
    const one of /** @type {NodeListOf<HTMLElement>} */ (plan.querySelectorAll("[data-animal]"))
  ) {
    one.draggable = true;
  }
  plan.addEventListener("dragstart", (event) => held = line(event));
  plan.addEventListener("dragover", (event) => {
    const over = line(event);
    if (!held || !over) return;
    event.preventDefault(); // it may be dropped here
    if (over === held) return;
    const box = over.getBoundingClientRect();
    over[event.clientY < box.top + box.height / 2 ? "before" : "after"](held);
  });
  plan.addEventListener("drop", (event) => {
    event.preventDefault();
    const asked = new URL(plan.dataset.arrange ?? "", location.href);
    for (const one of plan.children) {
      if (one instanceof HTMLElement && one.dataset.animal) {
        asked.searchParams.append("order", one.dataset.animal);
      }
    }
    location.assign(asked);
  });
}
