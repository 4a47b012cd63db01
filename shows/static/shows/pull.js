// Pull list: changes save by themselves, Alt and an arrow moves a row, "/" goes to the add field. Without it every row has buttons.

const rows = document.querySelector("[data-rows]");

async function save(form, said) {
  const body = new FormData(form);
  body.set("do", "save");
  said.textContent = "saving";
  try {
    const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" } });
    const told = (answer.headers.get("Content-Type") || "").includes("json") ? await answer.json() : { said: "not saved: sign in again" };
    said.textContent = told.said;
    form.closest("[data-row]").toggleAttribute("data-wrong", !answer.ok);
    said.setAttribute("role", answer.ok ? "status" : "alert");
  } catch {
    said.textContent = "not saved: no connection";
  }
}

if (rows) {
  document.querySelector("[data-keys]").hidden = false;
  rows.addEventListener("change", (event) => {
    const row = event.target.closest("[data-row]");
    if (row) save(row.querySelector("form"), row.querySelector("[data-said]"));
  });
  rows.addEventListener("keydown", (event) => {
    const form = event.target.closest("form");
    if (!form || !event.altKey || !["ArrowUp", "ArrowDown"].includes(event.key)) return;
    event.preventDefault();
    form.querySelector(`button[value="${event.key === "ArrowUp" ? "up" : "down"}"]:not(:disabled)`)?.click();
  });
}

document.addEventListener("keydown", (event) => {
  if (event.key !== "/" || event.target.matches("input, select, textarea")) return;
  event.preventDefault();
  document.querySelector("#what")?.focus();
});

// back where one was: the row just moved or saved takes the focus again
if (location.hash.startsWith("#row-")) document.querySelector(`${location.hash} input:not([type=hidden])`)?.focus();
