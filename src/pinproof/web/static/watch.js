// Another tab or an editor may change the file: look every two seconds while the page is seen, and say so.
import { ask, notice, quiet } from "./core.js";

export function watch() {
  const where = document.body.dataset.watch;
  if (!where) return;
  let told = "";
  const look = async () => {
    if (document.hidden) return;
    try {
      const { ok, status, data } = await ask(where);
      const now = ok ? data.hash : status === 404 ? "gone" : "";
      if (!now || now === told) return;
      if (now === document.body.dataset.hash) { if (told) quiet(); told = ""; return; }
      told = now;
      const words = now === "gone"
        ? "The file of this page is gone from the folder. What you see was worked out from it before."
        : "The file of this page was changed meanwhile, in another tab or an editor. What you see belongs to the version before; what you typed is still here.";
      notice(words, now === "gone" ? [] : [["Show the file as it is now", () => location.reload()]]);
    } catch { /* the program has ended, or is busy: try again later */ }
  };
  setInterval(look, 2000);
  document.addEventListener("visibilitychange", look);
  addEventListener("focus", look);
}
