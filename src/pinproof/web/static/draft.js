// While one answers: what would be written, what is still open, and what is wrong at its field. Nothing is reckoned here.
import { ask, notice } from "./core.js";

const PAUSE_MS = 200;

export function start() {
  const form = document.querySelector("form[data-draft]");
  let timer = 0, running = null, changed = false;
  const answers = () => {
    const found = {};
    for (const [name, text] of new FormData(form)) {
      const [kind, ...rest] = name.split(":"), path = rest.join(":");
      if (path && kind === "set") found[path] = text;
      if (path && (kind === "basis" || kind === "out")) found[`${path}.${kind}`] = text;
    }
    return found;
  };
  const tell = (data) => {
    for (const field of form.querySelectorAll('[name^="set:"]')) {
      const place = document.getElementById(`${field.id}-wrong`), said = data.wrong[field.name.slice(4)] ?? "";
      place.hidden = !said;
      if (place.textContent !== said) place.textContent = said;
      if (said) field.setAttribute("aria-invalid", "true"); else field.removeAttribute("aria-invalid");
    }
    form.querySelector("[data-summary]").textContent = data.summary;
    const outlook = form.querySelector("[data-outlook]"), outcome = form.querySelector("[data-outcome]"), early = form.querySelector("[data-early]");
    if (outlook) outlook.textContent = data.outlook;
    if (outcome && data.outcome) outcome.innerHTML = data.outcome;
    if (outcome) outcome.toggleAttribute("data-stale", !data.outcome);
    form.querySelector("[data-written]").innerHTML = data.html;
    if (early) early.hidden = !data.can_count || data.counts;
    form.querySelector("[data-others]").replaceChildren(...data.others.map((text) => {
      const told = document.createElement("p");
      told.className = "wrong";
      told.textContent = text;
      return told;
    }));
  };
  const look = async () => {
    running?.abort();
    running = new AbortController();
    const mine = running;
    try {
      const { ok, data } = await ask(form.dataset.draft, { base: form.elements.base.value, answers: answers() }, mine.signal);
      if (mine.signal.aborted) return;
      if (ok) tell(data); else notice(`${data.error?.what ?? "The program did not answer."} ${data.error?.next ?? ""}`);
    } catch (error) { if (error.name !== "AbortError") notice("The program does not answer. Is it still running? What you typed is still here."); }
  };
  const soon = () => { changed = true; clearTimeout(timer); timer = setTimeout(look, PAUSE_MS); };
  form.addEventListener("input", soon);
  addEventListener("beforeunload", (event) => { if (changed && form.dataset.sent !== "true") event.preventDefault(); });
  form.addEventListener("submit", () => { form.dataset.sent = "true"; clearTimeout(timer); running?.abort(); });
  const first = form.querySelector('[aria-invalid="true"]');
  if (first) { for (let up = first.closest("details"); up; up = up.parentElement.closest("details")) up.open = true; first.focus(); }
}
