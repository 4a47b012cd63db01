// The labels page: a choice shows its sheet at once; without this script the button does.
const form = document.querySelector("[data-choose]");

if (form) {
  form.addEventListener("change", (event) => {
    if (event.target.matches("textarea")) return;
    if (event.target.name === "what" || event.target.name === "sheet" || event.target.name === "form") {
      // another sheet has its own free place, and another choice may suit another sheet
      form.elements.start?.setAttribute("disabled", "");
      if (event.target.name !== "sheet") form.elements.sheet?.setAttribute("disabled", "");
    }
    form.requestSubmit();
  });
  // A scanner types Enter after every code: it parts codes here and sends nothing.
  addEventListener("pageshow", () => {
    for (const name of ["start", "sheet"]) form.elements[name]?.removeAttribute("disabled");
  });
}
