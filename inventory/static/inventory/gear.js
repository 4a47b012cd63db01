// The gear list: a choice takes effect at once, and one tick takes the whole page.
const sieve = document.querySelector("[data-sieve]");
for (const select of sieve?.querySelectorAll("select") ?? []) select.addEventListener("change", () => sieve.requestSubmit());

// empty choices stay out of the address, so that it can be read and sent to somebody
sieve?.addEventListener("submit", () => {
  for (const field of sieve.elements) if (field.name && !field.value) field.disabled = true;
});
addEventListener("pageshow", () => {
  for (const field of sieve?.elements ?? []) field.disabled = false;
});

const chosen = document.querySelector("[data-chosen]");
if (chosen) {
  const all = chosen.querySelector("[data-all]");
  const count = chosen.querySelector("[data-count]");
  const ticks = [...chosen.querySelectorAll("input[name=code]")];
  const say = () => {
    const ticked = ticks.filter((tick) => tick.checked).length;
    if (count) count.textContent = ticked ? `(${ticked})` : "";
    if (all) {
      all.checked = ticked === ticks.length;
      all.indeterminate = ticked > 0 && ticked < ticks.length;
    }
  };
  if (all) {
    all.closest("label").hidden = false;
    all.addEventListener("change", () => {
      for (const tick of ticks) tick.checked = all.checked;
      say();
    });
  }
  chosen.addEventListener("change", say);
  addEventListener("pageshow", say);
}
