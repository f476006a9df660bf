// What all scripts share: asking for data, exchanging one region of the page, telling something at the top.

export async function ask(address, body, signal) {
  const how = body === undefined ? { signal } : {
    method: "POST", signal, headers: { "content-type": "application/json" }, body: JSON.stringify(body),
  };
  const answer = await fetch(address, how);
  let data = {};
  try { data = await answer.json(); } catch { /* not JSON: the status says enough */ }
  return { ok: answer.ok, status: answer.status, data };
}

export async function page(address, signal) {
  const answer = await fetch(address, { signal });
  return new DOMParser().parseFromString(await answer.text(), "text/html");
}

// Exchange the element that carries data-region=NAME for the one of another document; focus stays where it was by id.
export function exchange(name, other) {
  const old = document.querySelector(`[data-region="${name}"]`), fresh = other.querySelector(`[data-region="${name}"]`);
  if (!old || !fresh) return null;
  const focused = document.activeElement && old.contains(document.activeElement) ? document.activeElement.id : "";
  old.replaceWith(fresh);
  if (focused) document.getElementById(focused)?.focus();
  document.dispatchEvent(new CustomEvent("exchanged", { detail: fresh }));
  return fresh;
}

export function notice(text, links = []) {
  const place = document.getElementById("notice"), box = document.createElement("div"), told = document.createElement("p");
  box.className = "notice";
  told.textContent = text;
  box.append(told);
  for (const [words, act] of links) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    button.textContent = words;
    button.addEventListener("click", act);
    box.append(button, " ");
  }
  place.replaceChildren(box);
}

export function quiet() { document.getElementById("notice").replaceChildren(); }

export const isNarrow = () => matchMedia("(max-width:46rem)").matches;
