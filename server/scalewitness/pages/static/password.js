/* A button below each password that shows what was typed. Without script there is none, and
   nothing is missing. */

/** @type {NodeListOf<HTMLInputElement>} */
const fields = document.querySelectorAll('input[type="password"]');
for (const field of fields) {
  const button = document.createElement("button");
  const name = field.labels?.[0]?.textContent.trim() ?? "password";
  const show = (/** @type {boolean} */ shown) => {
    field.type = shown ? "text" : "password";
    button.textContent = shown ? "Hide it" : "Show it";
    button.setAttribute("aria-label", `${button.textContent}: ${name}`);
  };
  button.type = "button";
  button.className = "plain";
  button.setAttribute("aria-controls", field.id);
  button.addEventListener("click", () => show(field.type === "password"));
  field.form?.addEventListener("submit", () => show(false)); // else browsers would remember it as a text
  show(false);
  field.after(button);
}
