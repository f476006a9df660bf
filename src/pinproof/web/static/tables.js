// Tables sort by a click or key on a heading, and copy as text with tabs.
const number = (text) => {
  if (/^\d{4}-\d\d-\d\d/.test(text)) return null; // a date goes by its text
  const found = /^[^\d+\-−]{0,3}([+\-−]?\d[\d  ]*(?:[.,]\d+)?)\s*(n|µ|m|k|M|G)?/.exec(text.trim());
  if (!found) return null;
  const scale = { n: 1e-9, "µ": 1e-6, m: 1e-3, k: 1e3, M: 1e6, G: 1e9 }[found[2]] ?? 1;
  const unit = text.trim().slice(found[0].length);
  const scaled = found[2] === "m" && !/^[ΩVAWs]/.test(unit) ? 1 : scale;
  return parseFloat(found[1].replace("−", "-").replace(/[  ]/g, "").replace(",", ".")) * scaled;
};
const shown = (cell) => (cell.dataset.value ?? cell.textContent).trim().replace(/\s+/g, " ");

const order = (cell) => cell.dataset.order ?? shown(cell);

function sort(table, column, head) {
  const down = head.getAttribute("aria-sort") === "ascending";
  for (const each of table.tHead.rows[0].cells) each.removeAttribute("aria-sort");
  head.setAttribute("aria-sort", down ? "descending" : "ascending");
  for (const body of table.tBodies) {
    const rows = [...body.rows].map((row) => [row, order(row.cells[column] ?? row.cells[0])]);
    rows.sort(([, a], [, b]) => {
      const x = number(a), y = number(b);
      const way = x !== null && y !== null ? x - y : x !== null ? -1 : y !== null ? 1 : a.localeCompare(b);
      return down ? -way : way;
    });
    body.append(...rows.map(([row]) => row));
  }
}

async function copy(table, button) {
  const text = [...table.rows].map((row) => [...row.cells].map(shown).join("\t")).join("\n");
  try {
    await navigator.clipboard.writeText(text);
  } catch { // a phone on plain http has no clipboard: the old way
    const place = document.createElement("textarea");
    place.value = text;
    document.body.append(place);
    place.select();
    document.execCommand("copy");
    place.remove();
  }
  button.textContent = "Copied";
  setTimeout(() => { button.textContent = "Copy the table"; }, 1500);
}

export function tables(root) {
  for (const table of root.querySelectorAll("table:not([data-ready])")) {
    if (!table.tHead || !table.tBodies.length) continue;
    table.dataset.ready = "";
    [...table.tHead.rows[0].cells].forEach((head, column) => {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      button.addEventListener("click", () => sort(table, column, head));
      head.append(button);
    });
    const bar = document.createElement("div"), button = document.createElement("button");
    bar.className = "tablebar";
    button.type = "button";
    button.className = "quiet";
    button.textContent = "Copy the table";
    button.addEventListener("click", () => copy(table, button));
    bar.append(button);
    table.before(bar);
  }
}
