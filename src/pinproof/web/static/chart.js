// A click on a row of the reading chart tells about that situation; the table's links do the same by key.
import { exchange, page } from "./core.js";

let running = null;

async function pick(place, id, move) {
  const address = new URL(place.dataset.address, location.href);
  address.searchParams.set("situation", id);
  running?.abort();
  running = new AbortController();
  let other;
  try { other = await page(address, running.signal); } catch { return; }
  const fresh = exchange("picked", other);
  history.replaceState(null, "", address);
  for (const row of document.querySelectorAll("[data-row]")) row.classList.toggle("picked", row.dataset.row === id);
  const rows = JSON.parse(place.dataset.rows);
  for (const svg of place.querySelectorAll("svg")) {
    svg.querySelectorAll(".pp-row").forEach((row, index) => row.classList.toggle("picked", rows[index] === id));
  }
  if (move && fresh) { fresh.tabIndex = -1; fresh.focus(); fresh.scrollIntoView({ block: "nearest" }); }
}

export function start() {
  const place = document.querySelector("[data-chart]"), rows = JSON.parse(place.dataset.rows);
  for (const svg of place.querySelectorAll("svg")) {
    svg.addEventListener("click", (event) => {
      const index = [...svg.querySelectorAll(".pp-row")].findIndex((row) => {
        const box = row.getBoundingClientRect();
        return event.clientY >= box.top && event.clientY <= box.bottom;
      });
      if (index >= 0 && rows[index]) pick(place, rows[index], false);
    });
  }
  document.addEventListener("click", (event) => {
    const link = event.target.closest?.("[data-pick]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey || !rows.includes(link.dataset.pick)) return;
    event.preventDefault();
    pick(place, link.dataset.pick, true);
  });
}
