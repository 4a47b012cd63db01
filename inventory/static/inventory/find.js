// The answers of the search box: arrow keys walk through them, Enter opens one.
const links = [...document.querySelectorAll("[data-found] a")];
addEventListener("keydown", (event) => {
  if (!links.length || !["ArrowDown", "ArrowUp"].includes(event.key)) return;
  if (event.target.closest("select, textarea")) return;
  const here = links.indexOf(document.activeElement);
  const next = event.key === "ArrowDown" ? here + 1 : here - 1;
  if (next < 0) document.querySelector("#find_q")?.focus();
  else links[Math.min(next, links.length - 1)].focus();
  event.preventDefault();
});
