// Every page loads this; each part starts only where the page has its place.
import { ask, exchange, isNarrow, notice, page } from "./core.js";
import { folds, openFor } from "./fold.js";
import { watch } from "./watch.js";
import { tables } from "./tables.js";

tables(document);
document.addEventListener("exchanged", (event) => tables(event.detail));
watch();

for (const place of document.querySelectorAll("[data-load]")) {
  page(place.dataset.load).then((other) => {
    const fresh = other.querySelector("[data-region]");
    if (fresh) place.replaceWith(fresh);
  }).catch(() => {});
}
const band = document.querySelector("[data-fill]"); // the proof was not known yet: work it out, then show the band with it
if (band) ask(band.dataset.fill).then(({ ok }) => ok && page(location.href)).then((other) => {
  const fresh = other && other.querySelector("nav.band");
  if (fresh) band.replaceChildren(...fresh.childNodes);
}).catch(() => {});
if (isNarrow()) { // a phone begins with the answer; on paper and on a wide window all is open
  const wanted = location.hash.length > 1 ? document.getElementById(location.hash.slice(1)) : null;
  for (const each of document.querySelectorAll("[data-fold]")) each.open = Boolean(wanted && each.contains(wanted));
  for (const each of document.querySelectorAll("[data-folds]")) folds(each);
  addEventListener("hashchange", () => { const to = document.getElementById(location.hash.slice(1)); openFor(to); to?.scrollIntoView(); });
  wanted?.scrollIntoView();
}
const parts = { "[data-job]": "./jobs.js", "[data-live]": "./live.js", "[data-chart]": "./chart.js", "[data-join]": "./join.js", "form[data-text]": "./text.js", "[data-judge]": "./meter.js", "[data-busy]": "./busy.js", "[data-interview]": "./interview.js", "form[data-draft]": "./draft.js", "[data-add]": "./rows.js" };
for (const [where, module] of Object.entries(parts)) {
  if (document.querySelector(where)) import(module).then((part) => part.start());
}
document.addEventListener("keydown", (event) => {
  const typing = event.target.closest?.("input,textarea,select");
  if (!typing && (event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") {
    const button = document.querySelector(event.shiftKey ? "[data-redo]" : "[data-undo]");
    if (button) { event.preventDefault(); button.click(); }
  }
});
export { ask, exchange, notice };
