// Keeps the job's page up to date until the job has ended; without it the page reloads itself every few seconds.
const box = document.querySelector("[data-job]");
let wait = 700;

async function look() {
  try {
    const answer = await fetch(box.dataset.job, { headers: { Accept: "text/html" }, redirect: "error" });
    if (answer.ok) {
      const text = await answer.text();
      if (text !== box.dataset.last) {
        box.dataset.last = text;
        box.innerHTML = text;
        wait = 700;
      }
    }
  } catch {
    wait = 5000; // no signal: ask again later
  }
  const state = box.querySelector("[data-state]")?.dataset.state;
  if (state === "done" || state === "failed") return;
  wait = Math.min(wait * 1.2, 5000);
  setTimeout(look, wait);
}

if (box) setTimeout(look, wait);
