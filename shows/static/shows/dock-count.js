// Counted lines: the rows further down the page, and the shelf card that asks how many.
import { choose, drawHit, steps } from "./dock-hit.js";

const MOST = 100000;

export function counting({ ask, scan, warn, way, hasShow, nameOf, focus }) {
  const rowOf = (line) => document.querySelector(`form.count[data-line="${line}"]`);

  function count(line, name, good, bad) {
    const action = way() === "back" ? "back" : "out";
    if (good || !bad) scan({ code: `COUNT.${line}`, action, counted: good }, { name });
    if (bad) scan({ code: `COUNT.${line}`, action, counted: bad, condition: "damaged" }, { name: `${name}, bad` });
  }

  for (const row of document.querySelectorAll("form.count")) {
    row.querySelectorAll("[data-step]").forEach((key) => {
      key.hidden = false;
      key.addEventListener("click", () => {
        row.elements.good.value = Math.max(0, (Number(row.elements.good.value) || 0) + Number(key.dataset.step));
      });
    });
    row.addEventListener("submit", (event) => {
      const [good, bad] = [Number(row.elements.good.value), Number(row.elements.bad?.value ?? 0)];
      event.preventDefault();
      if (!Number.isInteger(good) || !Number.isInteger(bad) || good < 0 || bad < 0 || good + bad === 0 || good + bad > MOST) {
        warn(row.dataset.name, "A count is a whole number, at least 1.");
        return;
      }
      ask.settle();
      count(row.dataset.line, row.dataset.name, good, bad);
      row.elements.good.value = 0;
      if (row.elements.bad) row.elements.bad.value = 0;
      focus();
    });
  }

  // A shelf card was scanned: how many?
  return function askCount(line) {
    const row = rowOf(line);
    const name = row?.dataset.name ?? nameOf(line);
    if (!name) return scan({ code: `COUNT.${line}`, action: way() === "truck" ? "out" : way() }, { name: `Counted line ${line}` });
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
