// Lets a device's curves be read by pointing: draws over the still ones with uPlot, fetched only when one comes near the window.
// Without this module, without a line, and on paper the still drawing stays.
const HEIGHT = 250;

const colour = (figure, name) => getComputedStyle(figure).getPropertyValue(name).trim();
const whole = (hours) => (hours >= 10 ? Math.floor(hours) : Math.floor(hours * 10) / 10);

function upright(plot, hours, stroke, width, dashes = []) {
  const { ctx: context, bbox } = plot;
  const x = plot.valToPos(hours, "x", true);
  if (x < bbox.left || x > bbox.left + bbox.width) return;
  context.save();
  context.strokeStyle = stroke;
  context.lineWidth = width * devicePixelRatio;
  context.setLineDash(dashes.map((dash) => dash * devicePixelRatio));
  context.beginPath();
  context.moveTo(x, bbox.top);
  context.lineTo(x, bbox.top + bbox.height);
  context.stroke();
  context.restore();
}

function level(plot, value, words, figure) {
  const { ctx: context, bbox } = plot;
  const y = plot.valToPos(value, "y", true);
  if (y < bbox.top || y > bbox.top + bbox.height) return;
  const ratio = devicePixelRatio;
  context.save();
  context.strokeStyle = colour(figure, "--chalk");
  context.lineWidth = 2 * ratio;
  context.setLineDash([7 * ratio, 6 * ratio]);
  context.beginPath();
  context.moveTo(bbox.left, y);
  context.lineTo(bbox.left + bbox.width, y);
  context.stroke();
  context.setLineDash([]);
  context.font = `500 ${13 * ratio}px system-ui, sans-serif`;
  context.textAlign = "start";
  context.lineWidth = 5 * ratio;
  context.strokeStyle = colour(figure, "--desk");
  const at = y - 7 * ratio > bbox.top + 12 * ratio ? y - 7 * ratio : y + 18 * ratio;
  context.strokeText(words, bbox.left + 8 * ratio, at);
  context.fillStyle = colour(figure, "--chalk");
  context.fillText(words, bbox.left + 8 * ratio, at);
  context.restore();
}

function hatch(figure) {
  const ratio = devicePixelRatio;
  const tile = new OffscreenCanvas(9 * ratio, 9 * ratio);
  const context = tile.getContext("2d");
  context.strokeStyle = colour(figure, "--band");
  context.globalAlpha = 0.5;
  context.lineWidth = 3 * ratio;
  for (const shift of [-9, 0, 9]) {
    context.beginPath();
    context.moveTo((shift - 1) * ratio, 10 * ratio);
    context.lineTo((shift + 10) * ratio, -1 * ratio);
    context.stroke();
  }
  return tile;
}

function marks(figure, picture, part) {
  const chalk = colour(figure, "--chalk");
  return {
    hooks: {
      drawClear: (plot) => {
        const { ctx: context, bbox } = plot;
        if (picture.need) {
          const from = Math.max(plot.valToPos(picture.now, "x", true), bbox.left);
          const until = Math.min(plot.valToPos(picture.now + picture.need, "x", true), bbox.left + bbox.width);
          context.save();
          context.globalAlpha = 0.1;
          context.fillStyle = chalk;
          context.fillRect(from, bbox.top, Math.max(until - from, 0), bbox.height);
          context.restore();
        }
        context.save();
        context.fillStyle = colour(figure, "--chalk-2");
        context.font = `500 ${13 * devicePixelRatio}px system-ui, sans-serif`;
        context.textAlign = "start";
        context.fillText(part.letter, 4 * devicePixelRatio, bbox.top - 14 * devicePixelRatio);
        context.restore();
      },
      draw: (plot) => {
        const { ctx: context, bbox } = plot;
        const ratio = devicePixelRatio;
        upright(plot, picture.now, chalk, 2.5);
        if (part.level) level(plot, part.level[0], part.level[1], figure);
        context.save();
        context.strokeStyle = chalk;
        context.lineWidth = 3 * ratio;
        for (const [hours, , died] of part.ends) {
          const x = plot.valToPos(hours, "x", true);
          if (x < bbox.left || x > bbox.left + bbox.width) continue;
          const y = bbox.top + bbox.height;
          context.beginPath();
          if (died) {
            context.moveTo(x - 6 * ratio, y - 6 * ratio);
            context.lineTo(x + 6 * ratio, y + 6 * ratio);
            context.moveTo(x + 6 * ratio, y - 6 * ratio);
            context.lineTo(x - 6 * ratio, y + 6 * ratio);
          } else {
            context.moveTo(x, y - 8 * ratio);
            context.lineTo(x, y + 8 * ratio);
          }
          context.stroke();
        }
        context.fillStyle = chalk;
        context.strokeStyle = colour(figure, "--desk");
        context.lineWidth = 2 * ratio;
        for (const [number, [hours, volts]] of part.readings.entries()) {
          const [x, y, reach] = [plot.valToPos(hours, "x", true), plot.valToPos(volts, "y", true), 9 * ratio];
          context.beginPath();
          context.arc(x, y, 6 * ratio, 0, 2 * Math.PI);
          context.fill();
          context.stroke();
          if (!part.doubted?.includes(number)) continue;
          context.save(); // what a later reading says cannot be is crossed out
          context.strokeStyle = colour(figure, "--chalk");
          context.beginPath();
          context.moveTo(x - reach, y - reach);
          context.lineTo(x + reach, y + reach);
          context.moveTo(x - reach, y + reach);
          context.lineTo(x + reach, y - reach);
          context.stroke();
          context.restore();
        }
        context.restore();
      },
      setCursor: (plot) => {
        const at = plot.cursor.idx;
        const there = plot.cursor.left >= 0 && at !== null && at !== undefined;
        figure.querySelector("[data-when]").textContent = there ? said(picture, at) : "Point at a curve to read it.";
      },
    },
  };
}

function said(picture, at) {
  const [low, likely, high] = picture.left[at];
  const volts = picture.volts[at]?.[1];
  const read = volts === undefined || volts === null ? "" : ` about ${volts.toFixed(2)} V;`;
  return `At ${whole(picture.hours[at])} h used:${read} ${whole(low)} to ${whole(high)} h left, likely ${whole(likely)}.`;
}

function options(figure, picture, part, width, key) {
  const font = `500 13px ${getComputedStyle(document.documentElement).getPropertyValue("--stamp")}`;
  const axis = { stroke: colour(figure, "--chalk-2"), font, ticks: { stroke: colour(figure, "--line"), width: 1, size: 6 } };
  const edge = { stroke: colour(figure, "--line"), width: 1, points: { show: false } };
  const fill = (plot) => plot.ctx.createPattern(part.hatch, "repeat");
  return {
    width,
    height: HEIGHT,
    padding: [30, 18, 0, 0],
    legend: { show: false },
    cursor: { y: false, points: { show: false }, drag: { x: false, y: false }, sync: { key } },
    scales: { x: { time: false, range: (_plot, low, high) => [Math.min(0, low), high] }, y: part.range ? { range: part.range } : {} },
    axes: [
      { ...axis, grid: { show: false } },
      { ...axis, grid: { stroke: colour(figure, "--seam"), width: 1 }, size: 52 },
    ],
    series: [{}, edge, { stroke: colour(figure, "--chalk"), width: 3, points: { show: false } }, edge],
    bands: [{ series: [3, 1], fill }],
    plugins: [marks(figure, picture, part)],
  };
}

function parts(figure, picture) {
  const common = { hatch: hatch(figure) };
  const found = [];
  if (picture.volts.length) {
    const seen = [...picture.volts.flat().filter((v) => v !== null), ...picture.readings.map((one) => one[1])];
    if (picture.stops) seen.push(picture.stops);
    const [low, high] = [Math.min(...seen), Math.max(...seen)];
    const room = (high - low) * 0.08 || 1;
    found.push({
      ...common, rows: picture.volts, letter: "V", readings: picture.readings, doubted: picture.doubted, ends: [],
      level: picture.stops ? [picture.stops, "it stops here"] : null, range: [low - room, high + room],
    });
  }
  found.push({
    ...common, rows: picture.left, letter: "h left, over hours used", readings: [], ends: picture.ends,
    level: picture.need ? [picture.need, picture.need_words] : null,
    range: [0, Math.max(...picture.left.map((row) => row[2]), picture.need ?? 0) * 1.08],
  });
  return found;
}

async function enliven(figure) {
  const [{ default: Plot }, answer] = await Promise.all([
    import(figure.dataset.uplot),
    fetch(figure.dataset.cells, { headers: { Accept: "application/json" }, redirect: "error" }),
    document.fonts.load("500 13px Stamp"),
  ]);
  if (!answer.ok) return;
  const picture = (await answer.json()).pictures[Number(figure.dataset.number)];
  if (!picture) return;
  const live = figure.querySelector(".live");
  live.hidden = false;
  figure.dataset.drawn = "";
  const key = `cells-${figure.dataset.number}`;
  const columns = (rows) => [0, 1, 2].map((place) => rows.map((row) => row[place]));
  const plots = parts(figure, picture).map((part) => {
    const under = live.appendChild(document.createElement("div"));
    return new Plot(options(figure, picture, part, live.clientWidth, key), [picture.hours, ...columns(part.rows)], under);
  });
  const when = figure.querySelector("[data-when]");
  when.hidden = false;
  when.textContent = "Point at a curve to read it.";
  new ResizeObserver(() => {
    if (live.clientWidth) for (const plot of plots) plot.setSize({ width: live.clientWidth, height: HEIGHT });
  }).observe(live);
}

const near = new IntersectionObserver((seen) => {
  for (const one of seen) {
    if (!one.isIntersecting) continue;
    near.unobserve(one.target);
    enliven(one.target).catch(() => delete one.target.dataset.drawn); // no line: the still drawing stays
  }
}, { rootMargin: "200px" });

for (const figure of document.querySelectorAll("[data-cells]")) near.observe(figure);
