// On a phone the long pages begin with their answer: what follows a heading is put behind it, and opens.
// On paper, on a wide window and without scripts nothing is put away.

export function folds(place) {
  const inner = place.querySelector("form > .typed") ?? place; // a form of many entries is folded inside
  let open = null, first = place.dataset.folds === "all-but-first";
  for (const child of [...inner.children]) {
    const head = child.matches("h2") ? child : child.matches("section:not(.answer,.teach)") ? child.querySelector(":scope > h2:first-child") : null;
    if (head) {
      const fold = document.createElement("details"), summary = document.createElement("summary");
      fold.className = "fold";
      fold.dataset.fold = "";
      fold.open = first || isWanted(child) ;
      first = false;
      child.before(fold);
      summary.append(head);
      fold.append(summary);
      if (child !== head) { fold.append(child); open = null; } else open = fold;
    } else if (open) {
      open.append(child);
      if (isWanted(child)) open.open = true;
    }
  }
}

// What is wrong, what waits, what the address asks for stays in sight.
function isWanted(child) {
  const within = (selector) => child.matches(selector) || child.querySelector(selector);
  return Boolean(within("[aria-invalid],.wrong:not([hidden]),[role=alert],[data-job],.faults") || (location.hash.length > 1 && within(`[id="${CSS.escape(location.hash.slice(1))}"]`)));
}

export function openFor(target) {
  for (let each = target?.closest("details"); each; each = each.parentElement?.closest("details")) each.open = true;
}
