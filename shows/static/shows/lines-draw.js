// Draws the grid: a strip of tape a line with its number and source, its other cells beside it, what is wrong under it.

const NAMES = { in: "inputs", out: "outputs" };

function make(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}

export function drawRows(home, { parts, order, columns, choices, advised, view, at }) {
  const title = new Map([...columns.map((column) => [column.key, column.title]), ["advised", "Advised"]]);
  const left = home.querySelector(".grid-wrap")?.scrollLeft || 0;
  const heads = order.map((key) => {
    const short = key === "number" ? "No" : title.get(key);
    return make("th", { scope: "col", class: `c-${key}`, "aria-label": title.get(key) }, short);
  });
  const table = make("table", { class: "grid", role: "grid", "aria-label": "Input list", "data-view": view }, make("thead", {}, make("tr", {}, ...heads)));
  let count = 0;
  for (const way of ["in", "out"]) {
    const body = make("tbody", { "data-way": way });
    const head = make("th", { scope: "rowgroup", colspan: order.length }, make("span", { class: "part marker" }, NAMES[way]));
    body.append(make("tr", { class: "part-row" }, head));
    for (const row of parts[way]) {
      body.append(...line(row, count, { way, order, title, choices, advised, at }));
      count += 1;
    }
    const add = make("button", { type: "button", class: "act", "data-add": way }, way === "in" ? "Add an input" : "Add an output");
    body.append(make("tr", { class: "add-row-of" }, make("td", { colspan: order.length }, make("span", { class: "stay" }, add))));
    table.append(body);
  }
  const wrap = make("div", { class: "grid-wrap" }, table);
  home.replaceChildren(wrap);
  wrap.scrollLeft = left;
}

// what was worked out holds for the line as it is stored: another kind at that number has no advice yet
function advice(row, way, advised) {
  const [kind, words] = advised[`${way}:${row.number}`] || [];
  return !row.pickup && kind === (row.kind || "") ? words : "";
}

function line(row, n, { way, order, title, choices, advised, at }) {
  row.cells = {};
  const marks = row.marks || [];
  const here = at.row === row;
  const number = `${way === "out" ? "Out" : "Line"} ${row.number || n + 1}`;
  const tr = make("tr", { class: "line" });
  if (here) tr.dataset.here = "";
  for (const key of order) {
    if (key === "advised") {
      tr.append(make("td", { class: "c-advised" }, advice(row, way, advised)));
      continue;
    }
    const mine = marks.filter((one) => one.key === key && !one.guess);
    const input = make("input", {
      "data-key": key,
      "data-row": n,
      "aria-label": `${number}, ${title.get(key)}`,
      autocomplete: "off",
      spellcheck: "false",
      tabindex: here && at.key === key ? "0" : "-1",
    });
    if (choices[key] || key === "where" || key === "box") {
      for (const [name, value] of [["role", "combobox"], ["aria-expanded", "false"], ["aria-controls", "offers"], ["aria-autocomplete", "list"]]) input.setAttribute(name, value);
    }
    if (["number", "desk", "box_input"].includes(key)) input.setAttribute("inputmode", "numeric");
    input.value = row[key] || "";
    if (key === "desk" && way === "in") input.placeholder = row.number || "";
    if (key === "kind" && row.guessed) input.classList.add("guessed");
    if (mine.length) {
      input.setAttribute("aria-describedby", `says-${n}`);
      input.setAttribute(mine.some((one) => one.stops) ? "aria-invalid" : "data-look", "true");
    }
    row.cells[key] = input;
    tr.append(make("td", { class: `c-${key}` }, input));
  }
  const told = marks.filter((one) => !one.guess || !row.kind);
  if (!told.length) return [tr];
  const list = told.map((one) => {
    const says = make("p", { class: one.stops ? "stop" : "look" }, make("b", {}, `${title.get(one.key)}: `), one.words);
    for (const name of one.take || []) {
      says.append(" ", make("button", { type: "button", class: "act", "data-take": name, "data-row": n, "data-at": one.key }, name));
    }
    return says;
  });
  const under = make("tr", { class: "says", id: `says-${n}` }, make("td", { colspan: order.length }, make("div", { class: "stay" }, ...list)));
  return [tr, under];
}
