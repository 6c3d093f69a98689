/* Down a column with Enter or the arrows, as one weighs them, and at its end to the top of the next.
   Without script Tab goes through row by row, and nothing is missing. */

/** @type {Readonly<Record<string, number>>} */
const STEPS = { Enter: 1, ArrowDown: 1, ArrowUp: -1 };

/** @type {NodeListOf<HTMLTableElement>} */
const tables = document.querySelectorAll("table.young");
for (const table of tables) {
  const control = (
    /** @type {number} */ row,
    /** @type {number} */ column,
  ) => /** @type {HTMLInputElement | HTMLSelectElement | null | undefined} */ (
    table.rows[row]?.cells[column]?.querySelector("input:not([type=hidden]), select")
  );
  table.addEventListener("keydown", (event) => {
    const step = STEPS[event.key];
    const field = event.target;
    if (!step || event.isComposing || !(field instanceof HTMLElement)) return;
    if (field instanceof HTMLSelectElement && event.key !== "Enter") return; // they choose there
    const cell = field.closest("td");
    if (!cell) return;
    event.preventDefault(); // neither the form goes off nor the number changes
    const row = /** @type {HTMLTableRowElement} */ (cell.parentElement).rowIndex;
    const next = control(row + step, cell.cellIndex) ??
      (step > 0 ? control(1, cell.cellIndex + 1) : null);
    next?.focus();
    if (next instanceof HTMLInputElement) next.select();
  });
}
