// Counted lines: the rows further down the page, and the shelf card that asks how many.
import { choose, drawHit, eyeUp, steps } from "./dock-hit.js";

const MOST = 100000;

const rowOf = (line) => document.querySelector(`.counting:not([hidden]) form.count[data-line="${line}"]`);

// A row's words and number follow what was counted, or taken back (by -1), at once.
export function tally({ code, action, counted }, by = 1) {
  const row = code.startsWith("COUNT.") ? rowOf(code.slice(6)) : null;
  if (!row || counted === null) return;
  const data = row.dataset;
  data.out = Math.max(0, Number(data.out) + (action === "back" ? -counted : counted) * by);
  if (action === "back") data.back = Math.max(0, Number(data.back) + counted * by);
  draw(row, !row.elements.bad.hidden);
}

// The rows say and do what the way is now.
export function countsTurned(way) {
  const isBack = way === "back";
  for (const row of document.querySelectorAll("form.count")) {
    for (const one of [row.elements.bad, ...row.elements.bad.labels]) one.hidden = !isBack;
    row.querySelector(".go .name").textContent = isBack ? "Back" : "Out";
    draw(row, isBack);
  }
}

function draw(row, isBack) {
  const data = row.dataset;
  row.querySelector(".count-name .quiet").textContent = isBack ? `${data.out} still out, ${data.back} back` : `${data.wanted} wanted, ${data.out} out`;
  row.elements.good.value = isBack ? data.out : Math.max(0, data.wanted - data.out);
}

export function counting({ ask, scan, warn, way, hasShow, nameOf, focus }) {
  function count(line, name, good, bad) {
    const action = way() === "back" ? "back" : "out";
    eyeUp();
    if (good || !bad) tally(scan({ code: `COUNT.${line}`, action, counted: good }, { name }));
    if (bad) tally(scan({ code: `COUNT.${line}`, action, counted: bad, condition: "damaged" }, { name: `${name}, bad` }));
  }

  const rows = document.querySelector(".counting");
  rows.classList.add("has-script"); // steps
  rows.addEventListener("click", ({ target }) => {
    const key = target.closest("[data-step]");
    const good = key?.closest("form").elements.good;
    if (key) good.value = Math.max(0, (Number(good.value) || 0) + Number(key.dataset.step));
  });
  rows.addEventListener("submit", (event) => {
    const row = event.target;
    const [good, bad] = [Number(row.elements.good.value), row.elements.bad.hidden ? 0 : Number(row.elements.bad.value)];
    event.preventDefault();
    if (!Number.isInteger(good) || !Number.isInteger(bad) || good < 0 || bad < 0 || good + bad === 0 || good + bad > MOST) {
      warn(row.dataset.name, "A count is a whole number, at least 1.");
      return;
    }
    ask.settle();
    count(row.dataset.line, row.dataset.name, good, bad);
    row.elements.bad.value = 0;
    focus();
  });

  // A shelf card was scanned: how many?
  return function askCount(line) {
    const row = rowOf(line);
    const name = row?.dataset.name ?? nameOf(line);
    if (!name) return scan({ code: `COUNT.${line}`, action: way() }, { name: `Counted line ${line}` });
    if (way() === "truck") return warn(name, "Counted things go out and come back by number: nobody counts them onto the truck.");
    if (!hasShow()) return warn(name, "A count belongs to a show: choose the show first.");
    let good = Number(row?.elements.good.value ?? 0);
    const done = () => {
      ask.settle();
      count(line, name, good, 0);
    };
    ask.hold({ id: null, number: (number) => ((good = number), done()) });
    drawHit({ signal: "ask", word: "How many?", name, code: `COUNT.${line}`, reason: "Type the number, or step to it.",
      choices: [steps(() => good, (number) => (good = number)), choose([way() === "back" ? "Back" : "Out", done, "next"], ["None", ask.leave])] });
    return undefined;
  };
}
