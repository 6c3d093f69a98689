/* The checks of a planned visit in the order that one moves them to: by a handle that mouse, finger and
   keys can hold. Without script “Up” and “Down” do it; either way the address holds the order. */

/** @typedef {HTMLElement} Line */

/** Pixels from the edge of the screen within which holding a line scrolls, and how far at a time. */
const EDGE = 64, STEP = 16;

/** @param {HTMLElement} plan */
function arrange(plan) {
  const lines =
    () => /** @type {Line[]} */ ([...plan.children].filter((one) =>
      one instanceof HTMLElement && one.dataset.animal
    ));
  const told = document.createElement("p");
  told.className = "unseen";
  told.setAttribute("aria-live", "polite");
  plan.before(told);
  /** The order before the one that is being tried; null while none is. @type {Line[] | null} */
  let before = null;

  const begin = () => before ??= lines();
  const back = () => {
    const order = before ?? [];
    before = null; // first: a line that is moved loses focus, which would keep what was tried
    plan.append(...order);
  };
  const keep = () => {
    const changed = before?.some((one, place) => one !== lines()[place]);
    before = null;
    if (!changed) return;
    const asked = new URL(plan.dataset.arrange ?? "", location.href);
    for (const one of lines()) asked.searchParams.append("order", one.dataset.animal ?? "");
    location.assign(asked);
  };
  /* The others are moved around the one that is held: moved itself, it would lose focus and finger. */
  const up = (/** @type {Line} */ held) => {
    const other = lines()[lines().indexOf(held) - 1];
    if (other) held.after(other);
    return other;
  };
  const down = (/** @type {Line} */ held) => {
    const other = lines()[lines().indexOf(held) + 1];
    if (other) held.before(other);
    return other;
  };
  const middle = (/** @type {Line | undefined} */ one) => {
    const box = one?.getBoundingClientRect();
    return box && box.top + box.height / 2;
  };

  const follow = (/** @type {Line} */ held, /** @type {number} */ y) => {
    for (;;) {
      const place = lines().indexOf(held);
      const above = middle(lines()[place - 1]), below = middle(lines()[place + 1]);
      if (above !== undefined && y < above) up(held);
      else if (below !== undefined && y > below) down(held);
      else return;
    }
  };
  const scroll = (/** @type {number} */ y) => {
    if (y < EDGE) scrollBy(0, -STEP);
    if (y > innerHeight - EDGE) scrollBy(0, STEP);
  };
  const press = (/** @type {Line} */ held, /** @type {string} */ key) => {
    if (key === "Escape") back();
    else if (key === "Enter" || key === " ") keep();
    else if (key === "ArrowUp" || key === "ArrowDown") {
      begin();
      (key === "ArrowUp" ? up : down)(held);
    } else return false;
    const place = lines().indexOf(held) + 1;
    told.textContent = `${held.dataset.title}: ${place} of ${lines().length}`;
    return true;
  };

  for (const line of lines()) {
    const handle = document.createElement("button");
    handle.type = "button";
    handle.className = "handle";
    handle.setAttribute(
      "aria-label",
      `Move ${line.dataset.title}: arrow keys, then Enter; Escape leaves it`,
    );
    handle.addEventListener("pointerdown", (event) => {
      if (before || event.button !== 0) return;
      begin();
      handle.setPointerCapture(event.pointerId);
    });
    handle.addEventListener("pointermove", (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      scroll(event.clientY);
      follow(line, event.clientY);
    });
    handle.addEventListener("pointerup", keep);
    handle.addEventListener("pointercancel", back);
    handle.addEventListener("blur", keep);
    handle.addEventListener("keydown", (event) => {
      if (!press(line, event.key)) return;
      event.preventDefault();
      handle.focus();
    });
    line.prepend(handle);
  }
}

/** @type {NodeListOf<HTMLElement>} */
const plans = document.querySelectorAll("[data-arrange]");
for (const plan of plans) arrange(plan);
