// Rows of a form: one more where it is wanted, without asking the server.
export function start() {
  for (const button of document.querySelectorAll("[data-add]")) {
    const kind = button.dataset.add;
    const rows = document.querySelector(`[data-rows="${kind}"]`), spare = document.querySelector(`template[data-spare="${kind}"]`);
    let next = rows.querySelectorAll(`[name^="out:${kind}.+"]`).length;
    button.hidden = false;
    button.addEventListener("click", () => {
      next += 1;
      rows.insertAdjacentHTML("beforeend", spare.innerHTML.replaceAll("NEXT", String(next)));
      rows.lastElementChild.querySelector("select,input").focus();
    });
  }
  document.addEventListener("change", (event) => { // the speed's example follows what it is given as
    if (!event.target.name?.endsWith(".given")) return;
    const at = event.target.closest("fieldset").querySelector('[name$=".at"]'), road = document.querySelector("[data-example]").dataset.example;
    at.placeholder = event.target.value === "road" ? road : "2150 rpm";
  });
}
