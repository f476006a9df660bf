// What takes some seconds says so where the button was pressed.
export function start() {
  for (const form of document.querySelectorAll("form[data-busy]")) {
    form.addEventListener("submit", () => {
      const told = document.createElement("p");
      told.className = "busy";
      told.setAttribute("role", "status");
      told.textContent = form.dataset.busy;
      form.querySelector(".busy")?.remove();
      (form.querySelector(".thumb") ?? form).before(told);
    });
  }
  addEventListener("pageshow", () => { for (const each of document.querySelectorAll(".busy")) each.remove(); });
}
