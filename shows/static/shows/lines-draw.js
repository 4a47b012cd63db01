// Draws the grid: a strip of tape a line with its number and source, its other cells beside it, what is wrong under it.
// A line that looks as before keeps its cells: drawing 48 lines anew after every move would be felt.

const NAMES = { in: "inputs", out: "outputs" };
const FIGURES = ["number", "desk", "box_input"];
let pool = new Map(); // what a line looks like: the rows drawn of it

function make(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}

export function drawRows(home, context) {
  const { parts, order, columns, view, at } = context;
  const title = new Map([...columns.map((column) => [column.key, column.title]), ["advised", "Advised"]]);
  const table = home.querySelector("table.grid") || begin(home, order, title);
  table.dataset.view = view;
  const before = pool;
  pool = new Map();
  let count = 0;
  for (const way of ["in", "out"]) {
    const body = table.querySelector(`tbody[data-way="${way}"]`);
    const nodes = [body.firstElementChild];
    for (const row of parts[way]) {
      nodes.push(...line(row, count, { ...context, way, title, before, here: at.row === row }));
      count += 1;
    }
    nodes.push(body.lastElementChild);
    place(body, nodes);
  }
}

function begin(home, order, title) {
  const heads = order.map((key) => {
    const short = key === "number" ? "No" : title.get(key);
    return make("th", { scope: "col", class: `c-${key}`, "aria-label": title.get(key) }, short);
  });
  const table = make("table", { class: "grid", role: "grid", "aria-label": "Input list" }, make("thead", {}, make("tr", {}, ...heads)));
  for (const way of ["in", "out"]) {
    const head = make("th", { scope: "rowgroup", colspan: order.length }, make("span", { class: "part marker" }, NAMES[way]));
    const add = make("button", { type: "button", class: "act", "data-add": way }, way === "in" ? "Add an input" : "Add an output");
    const foot = make("td", { colspan: order.length }, make("span", { class: "stay" }, add));
    table.append(make("tbody", { "data-way": way }, make("tr", { class: "part-row" }, head), make("tr", { class: "add-row-of" }, foot)));
  }
  home.replaceChildren(make("div", { class: "grid-wrap" }, table));
  return table;
}

// put the rows in their order and touch only those that are not in it
function place(body, nodes) {
  const wanted = new Set(nodes);
  for (const child of [...body.children]) if (!wanted.has(child)) child.remove();
  nodes.forEach((node, n) => {
    if (body.children[n] !== node) body.insertBefore(node, body.children[n] || null);
  });
}

// what was worked out holds for the line as it is stored: another kind at that number has no advice yet
function advice(row, way, advised) {
  const [kind, words] = advised[`${way}:${row.number}`] || [];
  return !row.pickup && kind === (row.kind || "") ? words : "";
}

function line(row, n, context) {
  const { way, order, at, before, here } = context;
  const words = advice(row, way, context.advised);
  const looks = JSON.stringify([way, order.map((key) => row[key] || ""), row.number || n, row.marks || [], row.guessed || "", words]);
  const drawn = before.get(looks)?.pop() || fresh(row, n, words, context);
  pool.set(looks, [...(pool.get(looks) || []), drawn]);
  row.cells = drawn.cells;
  const [tr, under] = drawn.nodes;
  if (drawn.n !== n) {
    for (const one of drawn.nodes) for (const each of one.querySelectorAll("[data-row]")) each.dataset.row = n;
    if (under) under.id = `says-${n}`;
    for (const each of tr.querySelectorAll("[aria-describedby]")) each.setAttribute("aria-describedby", `says-${n}`);
    drawn.n = n;
  }
  for (const [key, input] of Object.entries(drawn.cells)) {
    if (input.value !== (row[key] || "")) input.value = row[key] || "";
    input.tabIndex = here && at.key === key ? 0 : -1;
  }
  if (here) tr.dataset.here = "";
  else delete tr.dataset.here;
  return drawn.nodes;
}

function fresh(row, n, words, { way, order, title, choices }) {
  const cells = {};
  const marks = row.marks || [];
  const called = `${way === "out" ? "Out" : "Line"} ${row.number || n + 1}`;
  const tr = make("tr", { class: "line" });
  for (const key of order) {
    if (key === "advised") {
      tr.append(make("td", { class: "c-advised" }, words));
      continue;
    }
    const mine = marks.filter((one) => one.key === key && !one.guess);
    const input = make("input", { "data-key": key, "data-row": n, "aria-label": `${called}, ${title.get(key)}`, autocomplete: "off", spellcheck: "false" });
    if (choices[key] || key === "where" || key === "box") {
      for (const [name, value] of [["role", "combobox"], ["aria-expanded", "false"], ["aria-controls", "offers"], ["aria-autocomplete", "list"]]) input.setAttribute(name, value);
    }
    if (FIGURES.includes(key)) input.setAttribute("inputmode", "numeric");
    if (key === "desk" && way === "in") input.placeholder = row.number || "";
    if (key === "kind" && row.guessed) input.classList.add("guessed");
    if (mine.length) {
      input.setAttribute("aria-describedby", `says-${n}`);
      input.setAttribute(mine.some((one) => one.stops) ? "aria-invalid" : "data-look", "true");
    }
    cells[key] = input;
    tr.append(make("td", { class: `c-${key}` }, input));
  }
  const told = marks.filter((one) => !one.guess || !row.kind);
  if (!told.length) return { nodes: [tr], cells, n };
  const list = told.map((one) => {
    const says = make("p", { class: one.stops ? "stop" : "look" }, make("b", {}, `${title.get(one.key)}: `), one.words);
    for (const name of one.take || []) {
      says.append(" ", make("button", { type: "button", class: "act", "data-take": name, "data-row": n, "data-at": one.key }, name));
    }
    return says;
  });
  const under = make("tr", { class: "says", id: `says-${n}` }, make("td", { colspan: order.length }, make("div", { class: "stay" }, ...list)));
  return { nodes: [tr, under], cells, n };
}
