// The button that opens the browser's own print window; without a script the browser's menu does the same.
for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => print());
}
