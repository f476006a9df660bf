// A reading is judged while it is typed; the page itself reckons nothing. An odd one asks for a second look.
import { ask } from "./core.js";

const PAUSE_MS = 30;

export function start() { for (const form of document.querySelectorAll("form[data-judge]")) follow(form); }

function follow(form) {
  const said = form.querySelector("[data-said]"), sure = form.querySelector("[data-sure]");
  let timer = 0, running = null;
  const send = async () => {
    running?.abort();
    running = new AbortController();
    const mine = running, body = {};
    for (const [name, value] of new FormData(form)) if (typeof value === "string" && name !== "sure") body[name] = value;
    if (!body.typed?.trim()) { said.replaceChildren(); return; }
    try {
      const { ok, data } = await ask(form.dataset.judge, body, mine.signal);
      if (mine.signal.aborted) return;
      if (ok && data.ok) said.innerHTML = data.html;
      else {
        const told = document.createElement("p");
        told.className = "hint";
        told.textContent = ok ? data.said : `${data.error?.what ?? "The program did not answer."} ${data.error?.next ?? ""}`;
        said.replaceChildren(told);
      }
      if (sure) { sure.hidden = !(ok && data.odd); if (sure.hidden) sure.querySelector("input").checked = false; }
    } catch (error) { if (error.name !== "AbortError") said.textContent = "The program does not answer. What you typed is still here."; }
  };
  form.addEventListener("input", (event) => {
    if (!["typed", "unit"].includes(event.target.name)) return;
    clearTimeout(timer);
    timer = setTimeout(send, PAUSE_MS);
  });
}
