// Progress of long work; when it is done, the page it is for is shown.
import { ask } from "./core.js";

export function start() {
  for (const place of document.querySelectorAll("[data-job]")) follow(place);
}

async function follow(place) {
  const text = place.querySelector("[data-job-text]"), bar = place.querySelector("progress");
  const seconds = place.querySelector("[data-job-seconds]");
  while (["waits", "runs"].includes(place.dataset.state)) {
    await new Promise((done) => setTimeout(done, 400));
    let data;
    try { ({ data } = await ask(`${place.dataset.job}.json`)); } catch { continue; }
    if (!data.state) return;
    if (text.textContent !== data.text) text.textContent = data.text;
    if (data.share === null) bar.removeAttribute("value"); else bar.value = data.share;
    seconds.textContent = data.seconds;
    place.dataset.state = data.state;
    if (data.state === "done" || data.state === "stopped") {
      const back = new URL(data.back, location.href);
      if (back.pathname === location.pathname && back.search === location.search) location.reload(); else location.assign(back);
      return;
    }
    if (data.state === "failed") { place.querySelector("form")?.remove(); bar.remove(); }
  }
}
