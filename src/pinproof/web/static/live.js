// While one types or slides: the changed fields go to the program, the panel comes back. The page reckons nothing itself.
import { ask, isNarrow, notice } from "./core.js";

const PAUSE_MS = 30;

export function start() { for (const form of document.querySelectorAll("form[data-live]")) follow(form); }

const before = (field) => field.dataset.was ?? (field instanceof HTMLSelectElement
  ? ([...field.options].find((each) => each.defaultSelected) ?? field.options[0])?.value ?? "" : field.defaultValue); // data-was: shown again as it was typed

function changed(form, last) {
  const changes = {}, put = (field) => {
    const [kind, ...rest] = field.name.split(":"), path = rest.join(":"), text = field.value.trim();
    if (!path || text === before(field).trim()) return;
    if (kind === "set") changes[path] = text === "" ? null : text;
    if (kind === "basis" && text) {
      const own = form.elements.namedItem(`set:${path}`), value = own && own.value.trim() !== before(own).trim() ? { value: own.value.trim() } : {};
      changes[path] = { ...value, basis: text };
    }
  };
  const fields = [...form.elements].filter((each) => each.name.includes(":"));
  for (const field of fields.sort((a, b) => (a === last) - (b === last))) put(field);
  return changes;
}

function wrongs(form, faults) {
  for (const place of form.querySelectorAll(".wrong")) { place.hidden = true; place.textContent = ""; }
  for (const field of form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
  const left = [];
  for (const fault of faults) {
    const field = form.elements.namedItem(`set:${fault.path}`) ?? [...form.elements].find((each) => each.name.startsWith(`set:${fault.path}.`));
    const place = field && document.getElementById(`${field.id}-wrong`);
    if (!place) { left.push(fault); continue; }
    field.setAttribute("aria-invalid", "true");
    place.textContent = fault.message;
    place.hidden = false;
  }
  return left;
}

function follow(form) {
  const panel = document.querySelector(form.dataset.panel), told = form.querySelector("[data-changed]");
  let timer = 0, running = null;
  const send = async (last) => {
    running?.abort();
    running = new AbortController();
    const mine = running, sliders = {};
    for (const each of form.querySelectorAll("input[type=range]")) sliders[each.name] = Number(each.value);
    const changes = changed(form, last), count = Object.keys(changes).length;
    if (told) told.textContent = count ? `${count} ${count === 1 ? "entry" : "entries"} changed, not saved` : "";
    const body = { base: form.elements.base.value, wide: form.dataset.wide === "true" && !isNarrow(), changes, sliders, line: form.dataset.line ?? "" };
    try {
      const { ok, data } = await ask(form.dataset.live, body, mine.signal);
      if (mine.signal.aborted) return;
      if (!ok) { notice(`${data.error?.what ?? "The program did not answer."} ${data.error?.next ?? ""}`); return; }
      const left = wrongs(form, data.faults);
      if (data.html) { panel.innerHTML = data.html; delete panel.dataset.stale; } else panel.dataset.stale = "";
      if (left.length && !data.html) {
        const list = document.createElement("ul");
        list.className = "lost";
        for (const fault of left) { const item = document.createElement("li"); item.textContent = `${fault.path}: ${fault.message}`; list.append(item); }
        panel.querySelector("ul.faulty")?.remove();
        list.classList.add("faulty");
        panel.prepend(list);
      }
      const short = form.querySelector("[data-summary]");
      if (short && data.summary) short.textContent = data.summary;
      panel.dataset.turn = String(Number(panel.dataset.turn ?? 0) + 1);
      panel.dispatchEvent(new CustomEvent("exchanged", { bubbles: true, detail: panel }));
    } catch (error) { if (error.name !== "AbortError") notice("The program does not answer. Is it still running? What you typed is still here."); }
  };
  const label = (slider) => {
    const words = JSON.parse(slider.dataset.words)[Number(slider.value)], place = form.querySelector(`output[for="${slider.id}"]`);
    slider.setAttribute("aria-valuetext", words);
    if (place) place.textContent = words;
  };
  form.addEventListener("input", (event) => {
    if (event.target.type === "range") label(event.target);
    clearTimeout(timer);
    timer = setTimeout(send, PAUSE_MS, event.target);
  });
  form.addEventListener("reset", () => setTimeout(() => {
    for (const each of form.querySelectorAll("input[type=range]")) label(each);
    send(null);
  }));
  addEventListener("beforeunload", (event) => {
    if (form.dataset.sent !== "true" && told && Object.keys(changed(form, null)).length) event.preventDefault();
  });
  form.addEventListener("submit", () => { form.dataset.sent = "true"; });
  if (told && Object.keys(changed(form, null)).length) send(null); // the browser brought typed text back
}
