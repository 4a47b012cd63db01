// Lets a chart be read by pointing at it: draws over the still one with uPlot, which is fetched only when a chart comes near
// the window. Without this module, without a pointer, and on paper the still drawing stays.
const DASHES = [[], [9, 5], [2, 5], [14, 4, 2, 4]];
const HEIGHT = 256;

function colour(figure, name) {
  return getComputedStyle(figure).getPropertyValue(name).trim();
}

function dot(context, place, x, y, size) {
  context.beginPath();
  if (place === 0) context.arc(x, y, size, 0, 2 * Math.PI);
  else if (place === 1) context.rect(x - size, y - size, 2 * size, 2 * size);
  else if (place === 2) path(context, [[x, y - size * 1.4], [x + size * 1.4, y], [x, y + size * 1.4], [x - size * 1.4, y]]);
  else path(context, [[x, y - size * 1.4], [x + size * 1.4, y + size], [x - size * 1.4, y + size]]);
}

function path(context, corners) {
  for (const [x, y] of corners) context.lineTo(x, y);
  context.closePath();
}

function hatched(context, x, y, width, height, ratio, stroke) {
  context.save();
  context.beginPath();
  context.rect(x, y, width, height);
  context.clip();
  context.strokeStyle = stroke;
  context.globalAlpha = 0.55;
  context.lineWidth = 2.5 * ratio;
  const step = 12.7 * ratio;
  for (let at = x - height; at < x + width; at += step) {
    context.beginPath();
    context.moveTo(at, y + height);
    context.lineTo(at + height, y);
    context.stroke();
  }
  context.restore();
}

function strokes(context, corners) {
  context.beginPath();
  for (const [x, y] of corners) context.lineTo(x, y);
  context.stroke();
}

function crossed(context, x, y, far) {
  strokes(context, [[x - far, y - far], [x + far, y + far]]);
  strokes(context, [[x - far, y + far], [x + far, y - far]]);
}

const within = (chart, value) => Math.min(Math.max(value, chart.foot), chart.top);

// A limit holds from the test it was used in to the next one that used another.
function steps(times, limits, foot, top, until) {
  const found = [];
  limits.forEach((limit, place) => {
    const last = found.at(-1);
    if (limit === null || limit > top || limit < foot) return last && (last.open = false);
    if (last?.open && last.limit === limit) return undefined;
    if (last?.open) [last.end, last.open] = [times[place], false];
    return found.push({ limit, begin: found.length || place ? times[place] : -Infinity, end: until, open: true });
  });
  return found;
}

function plugin(figure, chart) {
  const line = colour(figure, "--line");
  const chalk = colour(figure, "--chalk");
  return {
    hooks: {
      drawClear: (plot) => {
        const { ctx: context, bbox } = plot;
        const ratio = devicePixelRatio;
        const across = (time) => Math.min(Math.max(plot.valToPos(time, "x", true), bbox.left), bbox.left + bbox.width);
        const rule = (list, width, dashes, bad) => {
          for (const step of steps(chart.times, list, chart.foot, chart.top, Infinity)) {
            const y = plot.valToPos(step.limit, "y", true);
            const [x, end] = [across(step.begin), across(step.end)];
            if (bad === "above") hatched(context, x, bbox.top, end - x, y - bbox.top, ratio, line);
            if (bad === "below") hatched(context, x, y, end - x, bbox.top + bbox.height - y, ratio, line);
            context.save();
            context.strokeStyle = chalk;
            context.lineWidth = width * ratio;
            context.setLineDash(dashes.map((dash) => dash * ratio));
            context.beginPath();
            context.moveTo(x, y);
            context.lineTo(end, y);
            context.stroke();
            context.restore();
          }
        };
        context.save();
        context.fillStyle = colour(figure, "--chalk-2");
        context.font = `500 ${13 * ratio}px system-ui, sans-serif`;
        context.textAlign = "end";
        context.fillText(chart.letter, bbox.left - 9 * ratio, bbox.top - 18 * ratio);
        context.restore();
        rule(chart.high, 3, [], "above");
        rule(chart.low, 3, [], "below");
        rule(chart.watch, 2, [12, 7], "");
        for (const [time] of chart.marks) {
          const x = plot.valToPos(time, "x", true);
          if (x < bbox.left || x > bbox.left + bbox.width) continue;
          const foot = bbox.top + bbox.height;
          context.save();
          context.strokeStyle = line;
          context.setLineDash([2 * ratio, 4 * ratio]);
          context.beginPath();
          context.moveTo(x, bbox.top);
          context.lineTo(x, foot);
          context.stroke();
          context.fillStyle = colour(figure, "--tape-old");
          context.setLineDash([]);
          context.strokeStyle = colour(figure, "--rim");
          context.fillRect(x - 13 * ratio, foot - 18 * ratio, 26 * ratio, 14 * ratio);
          context.strokeRect(x - 13 * ratio, foot - 18 * ratio, 26 * ratio, 14 * ratio);
          context.restore();
        }
      },
      draw: (plot) => {
        const { ctx: context } = plot;
        const ratio = devicePixelRatio;
        chart.series.forEach((series, place) => {
          series.values.forEach((value, at) => {
            if (value === null || chart.times[at] < plot.scales.x.min || chart.times[at] > plot.scales.x.max) return;
            const x = plot.valToPos(chart.times[at], "x", true);
            const y = plot.valToPos(within(chart, value), "y", true);
            const shape = series.shapes[at];
            context.save();
            context.fillStyle = shape === "watch" ? colour(figure, "--desk") : chalk;
            context.strokeStyle = shape === "watch" ? chalk : colour(figure, "--desk");
            context.lineWidth = (shape === "watch" ? 2.5 : 1.5) * ratio;
            dot(context, place, x, y, 5 * ratio);
            context.fill();
            context.stroke();
            context.strokeStyle = chalk;
            context.lineWidth = 3 * ratio;
            if (shape === "fail") crossed(context, x, y, 9 * ratio);
            if (value > chart.top) strokes(context, [[x, y - 11 * ratio], [x, y - 20 * ratio]]);
            context.restore();
          });
        });
      },
      setCursor: (plot) => {
        const at = plot.cursor.idx;
        const there = plot.cursor.left >= 0 && at !== null && at !== undefined;
        chart.series.forEach((series, place) => {
          const reads = figure.querySelector(`[data-reads="${place}"]`);
          reads.dataset.last ??= reads.textContent;
          reads.textContent = there ? (series.words[at] ?? "not measured") : reads.dataset.last;
        });
        const when = figure.querySelector("[data-when]");
        when.textContent = there ? chart.days[at] : "Point at a test to read it; drag to look closer, double-click for all.";
      },
    },
  };
}

// The whole of it is lettered as the still drawing is; a stretch drawn closer at three places evenly.
function dates(chart, low, high) {
  if (low === chart.begin && high === chart.end) return chart.dates;
  return [1, 3, 5].map((part) => low + ((high - low) * part) / 6);
}

function dateWords(chart, places) {
  const close = places.length > 1 && places[1] - places[0] < 2 * 86400;
  const spelled = { day: "numeric", month: "short", ...(close ? { hour: "2-digit", minute: "2-digit" } : { year: "numeric" }) };
  return places.map((at) => {
    const known = chart.dates.indexOf(at);
    return known < 0 ? new Date(at * 1000).toLocaleString("en-GB", spelled) : chart.date_words[known];
  });
}

function options(figure, chart, width) {
  const quiet = colour(figure, "--chalk-2");
  const seam = colour(figure, "--seam");
  const font = `500 13px ${getComputedStyle(document.documentElement).getPropertyValue("--stamp")}`;
  const axis = { stroke: quiet, font, ticks: { stroke: colour(figure, "--line"), width: 1, size: 6 } };
  return {
    width,
    height: HEIGHT,
    padding: [34, 24, 0, 0],
    legend: { show: false },
    cursor: { y: false, points: { show: false }, drag: { x: true, y: false } },
    scales: { x: { time: true, range: (_plot, low, high) => (low === chart.times[0] ? [chart.begin, chart.end] : [low, high]) }, y: { range: [chart.foot, chart.top] } },
    axes: [
      {
        ...axis,
        grid: { show: false },
        splits: (_plot, _axis, low, high) => dates(chart, low, high),
        values: (_plot, places) => dateWords(chart, places),
      },
      { ...axis, grid: { stroke: seam, width: 1 }, size: 52, splits: () => chart.rungs, values: () => chart.rung_words },
    ],
    series: [
      {},
      ...chart.series.map((_series, place) => ({
        stroke: colour(figure, "--chalk"),
        width: 2,
        dash: DASHES[place],
        spanGaps: true,
        points: { show: false },
      })),
    ],
    plugins: [plugin(figure, chart)],
  };
}

async function enliven(figure) {
  const [{ default: Plot }, answer] = await Promise.all([
    import(figure.dataset.uplot),
    fetch(figure.dataset.chart, { headers: { Accept: "application/json" }, redirect: "error" }),
    document.fonts.load("500 13px Stamp"),
  ]);
  if (!answer.ok) return;
  const chart = (await answer.json()).charts[Number(figure.dataset.number)];
  const live = figure.querySelector(".live");
  const values = chart.series.map((series) => series.values.map((v) => (v === null ? null : within(chart, v))));
  live.hidden = false;
  figure.dataset.live = "";
  const plot = new Plot(options(figure, chart, live.clientWidth), [chart.times, ...values], live);
  figure.querySelector("[data-when]").hidden = false;
  new ResizeObserver(() => live.clientWidth && plot.setSize({ width: live.clientWidth, height: HEIGHT })).observe(live);
}

const near = new IntersectionObserver((seen) => {
  for (const one of seen) {
    if (!one.isIntersecting) continue;
    near.unobserve(one.target);
    enliven(one.target).catch(() => delete one.target.dataset.live); // no signal: the still drawing stays
  }
}, { rootMargin: "200px" });

for (const figure of document.querySelectorAll("[data-chart]")) near.observe(figure);
