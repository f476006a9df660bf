// The token stands behind "#": it is posted, and taken out of the address before anything else happens.
export function start() {
  const form = document.querySelector("[data-join]"), token = location.hash.slice(1);
  if (!token) return;
  history.replaceState(null, "", location.pathname);
  form.elements.token.value = token;
  form.requestSubmit();
}
