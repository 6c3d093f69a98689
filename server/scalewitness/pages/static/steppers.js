/* A number that a thumb counts up and down: − and + at its sides. Without script it is a number field and
   nothing is missing. The keyboard has its arrows there, so Tab passes the buttons by. */

/** @type {NodeListOf<HTMLInputElement>} */
const fields = document.querySelectorAll('.rack input[type="number"]');
for (const field of fields) {
  const about = field.labels?.[0]?.textContent.trim() ?? "";
  const button = (
    /** @type {string} */ sign,
    /** @type {string} */ word,
    /** @type {() => void} */ step,
  ) => {
    const made = document.createElement("button");
    made.type = "button";
    made.className = "plain";
    made.tabIndex = -1;
    made.textContent = sign;
    made.setAttribute("aria-label", `${word}: ${about}`);
    made.setAttribute("aria-controls", field.id);
    made.addEventListener("click", step);
    return made;
  };
  const row = document.createElement("div");
  row.className = "stepper";
  field.replaceWith(row);
  row.append(
    button("\u2212", "Less", () => field.stepDown()),
    field,
    button("+", "More", () => field.stepUp()),
  );
}
