// Reading a response: a slider (arrow keys) or the pointer over the plot says each curve's decibels at a frequency.
const MINUS = "\u2212";

const frequency = (hz) => (hz < 995 ? `${Math.round(hz)}\u2009Hz` : `${Number((hz / 1000).toPrecision(hz < 9950 ? 2 : 3))}\u2009kHz`);
const decibels = (db) => `${Math.abs(db) < 0.05 ? "0.0" : (db < 0 ? MINUS : "+") + Math.abs(db).toFixed(1)}\u2009dB`;

function reading(figure) {
  const data = JSON.parse(figure.dataset.curves);
  const [left, right, top, foot, low, high] = data.box;
  const part = figure.querySelector("[data-read]");
  const slider = figure.querySelector("[data-hz]");
  const said = figure.querySelector("[data-said]");
  const plot = figure.querySelector("[data-plot]");
  const cross = figure.querySelector("[data-cross]");
  const last = data.points - 1;

  function show() {
    const at = Number(slider.value);
    const x = left + ((right - left) * at) / last;
    const hz = data.low * (20000 / data.low) ** (at / last);
    const dots = data.curves.map(({ db }) => {
      const y = top + ((high - Math.max(low, db[at])) / (high - low)) * (foot - top);
      return `M${x - 4} ${y}a4 4 0 1 0 8 0a4 4 0 1 0 -8 0`;
    });
    cross.setAttribute("d", `M${x} ${top}V${foot}${dots.join("")}`);
    const words = `${frequency(hz)}: ${data.curves.map(({ name, db }) => `${name} ${decibels(db[at])}`).join("; ")}`;
    said.textContent = words;
    slider.setAttribute("aria-valuetext", words);
  }

  slider.addEventListener("input", show);
  plot.addEventListener("pointermove", (event) => {
    const box = plot.getBoundingClientRect();
    const x = ((event.clientX - box.left) / box.width) * plot.viewBox.baseVal.width;
    slider.value = String(Math.round((Math.min(1, Math.max(0, (x - left) / (right - left)))) * last));
    show();
  });
  part.hidden = false;
  show();
}

for (const figure of document.querySelectorAll("[data-response]")) reading(figure);
