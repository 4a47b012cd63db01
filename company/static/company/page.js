// Small things every page has: "/" puts the cursor in the search box, Escape leaves it.
const find = document.querySelector("[data-find]");

document.addEventListener("keydown", (event) => {
  const typing = event.target.closest("input, textarea, select, [contenteditable]");
  if (event.key === "/" && !typing && find) {
    event.preventDefault();
    find.focus();
    find.select();
  } else if (event.key === "Escape" && event.target === find) {
    find.blur();
  }
});

// A form is sent once: a second tap on a slow line would do the same thing twice.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post" || event.defaultPrevented) return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  addEventListener("pageshow", () => delete form.dataset.sent, { once: true });
});
