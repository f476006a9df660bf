// Questions that the other answers make idle are put away; what cannot be used is told at its question.
import { ask } from "./core.js";

const PAUSE_MS = 250;

export function start() {
  const form = document.querySelector("[data-interview]");
  let timer = 0, running = null;
  const answers = () => {
    const found = {};
    for (const [name, value] of new FormData(form)) {
      if (name === "file") continue;
      found[name] = name in found ? [].concat(found[name], value) : value;
    }
    return found;
  };
  const look = async () => {
    running?.abort();
    running = new AbortController();
    try {
      const { ok, data } = await ask(form.dataset.interview, answers(), running.signal);
      if (!ok) return;
      for (const place of form.querySelectorAll("[data-question]")) {
        const key = place.dataset.question, told = place.querySelector(".wrong");
        const isAsked = data.asked.includes(key), said = isAsked ? data.wrong[key] ?? "" : "";
        place.hidden = place.disabled = !isAsked;
        told.hidden = !said;
        told.textContent = said;
        const field = place.querySelector("input:not([type]),textarea");
        if (field) { if (said) field.setAttribute("aria-invalid", "true"); else field.removeAttribute("aria-invalid"); }
      }
    } catch { /* the form itself still tells everything when it is sent */ }
  };
  const soon = () => { clearTimeout(timer); timer = setTimeout(look, PAUSE_MS); };
  form.addEventListener("change", soon);
  form.addEventListener("focusout", soon);
  look();
}
