// The whole file is checked a moment after the last keystroke; a fault leads to its line.
import { ask } from "./core.js";

const PAUSE_MS = 250;

export function start() {
  const form = document.querySelector("form[data-text]"), box = form.elements.text, found = form.querySelector("[data-found]");
  let timer = 0, running = null;
  const to = (line) => {
    const lines = box.value.split("\n"), at = lines.slice(0, line - 1).join("\n").length + (line > 1 ? 1 : 0);
    box.focus();
    box.setSelectionRange(at, at + (lines[line - 1] ?? "").length);
    box.scrollTop = box.scrollHeight * (line - 8) / lines.length;
  };
  const item = (fault) => {
    const entry = document.createElement("li"), told = document.createElement("p"), path = document.createElement("code");
    if (fault.line) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "quiet";
      button.textContent = `line ${fault.line}`;
      button.addEventListener("click", () => to(fault.line));
      entry.append(button, " ");
    }
    path.textContent = fault.path;
    told.textContent = fault.message;
    entry.append(path, told);
    return entry;
  };
  const look = async () => {
    running?.abort();
    running = new AbortController();
    let data;
    try { ({ data } = await ask(form.dataset.text, { text: box.value }, running.signal)); } catch { return; }
    if (!data.faults) return;
    const head = document.createElement("p"), list = document.createElement("ol");
    head.textContent = data.faults.length ? `✕ ${data.faults.length} ${data.faults.length === 1 ? "fault" : "faults"}` : "No fault.";
    list.className = "faults";
    list.append(...data.faults.map(item));
    found.replaceChildren(head, list);
  };
  box.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(look, PAUSE_MS); });
  addEventListener("beforeunload", (event) => { if (box.value !== box.defaultValue && form.dataset.sent !== "true") event.preventDefault(); });
  form.addEventListener("submit", () => { form.dataset.sent = "true"; });
  if (found.querySelector(".faults")) look();
}
