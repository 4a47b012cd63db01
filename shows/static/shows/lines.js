// The input list as a grid: keys, paste, undo, lines put in, moved and taken out. Nothing is kept until Save; without this
// script the same list is one field of text. The server reads the grid after every change and says what is wrong where.

import { drawRows } from "./lines-draw.js";
import { offers } from "./lines-offer.js";
import { headed, read, said, split, write } from "./lines-text.js";

const MOST = 300;
const ORDER = ["number", "source", "kind", "player", "where", "pickup", "advised", "stand", "desk", "box", "box_input", "phantom", "feed", "whose", "side", "critical", "notes"];
const VIEWS = {
  all: ORDER,
  what: ["number", "source", "kind", "player", "where", "pickup", "advised"],
  patch: ["number", "source", "where", "desk", "box", "box_input", "side"],
  care: ["number", "source", "stand", "phantom", "feed", "whose", "critical", "notes"],
};

const form = document.querySelector("[data-lines]");
if (form) begin();

function begin() {
  const columns = JSON.parse(form.dataset.columns);
  const choices = JSON.parse(form.dataset.choices);
  const advised = JSON.parse(form.dataset.advised);
  const field = form.elements.grid;
  const state = form.querySelector("[data-state]");
  const token = form.elements.csrfmiddlewaretoken.value;
  const home = document.createElement("div");
  home.className = "grid-home";
  form.querySelector("[data-text]").after(home);
  const offer = offers(form);
  const past = [];
  const ahead = [];
  let rows = read(field.value, columns);
  let dirty = "unsaved" in form.dataset;
  let serial = 0;
  let timer = 0;
  let view = window.innerWidth < 700 ? "what" : "all";
  let at = { row: rows[0], key: "source" };
  let held = ""; // what the cell held when it was entered
  let editing = false;
  let leaving = false;
  let drawing = false; // a cell that loses the focus by being drawn anew was not left

  const way = (row) => (row.way === "out" ? "out" : "in");
  const part = (which) => rows.filter((row) => way(row) === which);
  const ordered = () => [...part("in"), ...part("out")];
  const blank = (row) => columns.every(({ key }) => key === "number" || key === "way" || !row[key]);
  const visible = () => VIEWS[view].filter((key) => key !== "advised");
  const called = (row) => `${way(row) === "out" ? "Out" : "Line"} ${row.number || "without a number"}`;

  mark(JSON.parse(form.dataset.marks), rows);
  for (const which of ["in", "out"]) if (!part(which).length) rows.push({ way: which, number: "1" });
  // what the list above the grid says stands at its cells now
  for (const listed of document.querySelectorAll("[data-listed]")) listed.hidden = true;
  document.querySelector("[data-empty]")?.remove();
  form.dataset.lively = "";
  at.row ??= part("in")[0];

  function tell(words, alert = false) {
    state.textContent = words;
    state.setAttribute("role", alert ? "alert" : "status");
  }

  function draw(focus = false) {
    drawing = true;
    drawRows(home, { parts: { in: part("in"), out: part("out") }, order: ORDER, columns, choices, advised, view, at });
    drawing = false;
    if (focus) focusCell();
  }

  function inputOf(row, key) {
    return row.cells?.[key];
  }

  function focusCell() {
    const input = inputOf(at.row, at.key);
    if (!input) return;
    input.focus({ preventScroll: true });
    input.select();
    input.closest("td, th").scrollIntoView({ block: "nearest", inline: "nearest" });
  }

  function go(row, key) {
    if (!row) return;
    at = { row, key };
    focusCell();
  }

  // Changes: each is one step back

  const frozen = () => JSON.stringify({ rows: rows.map(bare), at: ordered().indexOf(at.row), key: at.key });
  const bare = (row) => Object.fromEntries([...columns.map(({ key }) => [key, row[key] || ""]), ["guessed", row.guessed || ""]]);

  function step() {
    past.push(frozen());
    if (past.length > 200) past.shift();
    ahead.length = 0;
    dirty = true;
  }

  function back(from, to) {
    if (!from.length) return tell(from === past ? "Nothing to undo." : "Nothing to put back.");
    to.push(frozen());
    const was = JSON.parse(from.pop());
    rows = was.rows;
    at = { row: ordered()[Math.max(0, was.at)], key: was.key };
    dirty = true;
    draw(true);
    soon(0);
    return tell(from === past ? "Undone." : "Put back.");
  }

  function write_(row, key, value) {
    const text = said(value);
    if ((row[key] || "") === text) return false;
    step();
    row[key] = text;
    if (key === "kind") row.guessed = "";
    if (key === "source" && row.guessed) Object.assign(row, { kind: "", guessed: "" });
    row.marks = (row.marks || []).filter((one) => one.key !== key);
    return true;
  }

  function commit() {
    const input = inputOf(at.row, at.key);
    offer.close();
    if (!input || !editing) return;
    editing = false;
    if (write_(at.row, at.key, input.value)) {
      input.value = at.row[at.key];
      if (at.key === "number") sortPart(at.row);
      soon();
      tell("Not saved yet.");
    }
  }

  function sortPart(row) {
    const number = (each) => (/^\d+$/.test(each.number || "") ? Number(each.number) : 1e6);
    const same = part(way(row));
    const order = [...same].sort((a, b) => number(a) - number(b));
    if (order.every((each, n) => each === same[n])) return;
    rows = [...rows.filter((each) => way(each) !== way(row)), ...order];
    draw();
  }

  function fresh(which, number) {
    return { way: which, number: String(number) };
  }

  const top = (which) => Math.max(0, ...part(which).map((row) => Number(row.number) || 0));

  function putIn(row, below = true) {
    if (rows.length >= MOST) return tell(`An input list holds at most ${MOST} lines.`, true);
    commit();
    step();
    const here = rows.indexOf(row);
    const number = (Number(row.number) || 0) + (below ? 1 : 0);
    const made = fresh(way(row), Math.max(1, number));
    push(way(row), Number(made.number));
    rows.splice(below ? here + 1 : here, 0, made);
    at = { row: made, key: "source" };
    draw(true);
    soon();
    return tell(`${called(made)} is put in.`);
  }

  // the lines from this number on make room, up to the first gap
  function push(which, number) {
    let taken = number;
    const same = part(which).sort((a, b) => Number(a.number) - Number(b.number));
    for (const row of same) {
      if (Number(row.number) === taken) {
        taken += 1;
        row.number = String(taken);
      }
    }
  }

  function takeOut(row) {
    editing = false;
    offer.close();
    step();
    const same = part(way(row));
    const n = same.indexOf(row);
    rows = rows.filter((each) => each !== row);
    if (same.length === 1) rows.push(fresh(way(row), 1));
    const left = part(way(row));
    at = { row: left[Math.min(n, left.length - 1)], key: at.key };
    draw(true);
    soon();
    tell(`${called(row)}${row.source ? ` ${row.source}` : ""} is taken out. Ctrl+Z brings it back.`);
  }

  // a line takes the number and place of its neighbour: numbers stay where they are on the desk, the tape moves
  function move(row, by) {
    commit();
    const same = part(way(row));
    const other = same[same.indexOf(row) + by];
    if (!other) return tell(by < 0 ? "It is the first already." : "It is the last already.");
    step();
    [row.number, other.number] = [other.number, row.number];
    const [a, b] = [rows.indexOf(row), rows.indexOf(other)];
    [rows[a], rows[b]] = [rows[b], rows[a]];
    at = { row, key: at.key };
    draw(true);
    soon();
    return tell(`${row.source || "The line"} is ${called(row).toLowerCase()} now.`);
  }

  function renumber() {
    commit();
    step();
    for (const which of ["in", "out"]) part(which).forEach((row, n) => (row.number = String(n + 1)));
    draw(true);
    soon();
    tell("Numbered from 1 without gaps.");
  }

  // What the server says of it

  const full = () => ordered().filter((row) => !blank(row));

  async function ask(text) {
    const body = new FormData();
    body.set("csrfmiddlewaretoken", token);
    body.set("grid", text);
    const answer = await fetch(form.dataset.read, { method: "POST", body, headers: { Accept: "application/json" } });
    if (!(answer.headers.get("Content-Type") || "").includes("json")) throw new Error("signed out");
    return answer.json();
  }

  function soon(wait = 250) {
    serial += 1;
    clearTimeout(timer);
    timer = setTimeout(check, wait);
  }

  async function check() {
    const asked = serial;
    const sent = full();
    if (!sent.length) return;
    let told;
    try {
      told = await ask(write(sent, columns));
    } catch {
      return; // no connection: Save asks again
    }
    if (asked !== serial) return;
    if (told.wrong) return void tell(told.wrong, true);
    if (editing && told.rows.length !== sent.length) return;
    adopt(told, sent);
  }

  function adopt(told, sent) {
    const typing = editing ? inputOf(at.row, at.key)?.value : null;
    if (told.rows.length === sent.length) {
      told.rows.forEach((cells, n) => {
        columns.forEach(({ key }, m) => {
          if (!(editing && sent[n] === at.row && key === at.key)) sent[n][key] = cells[m];
        });
      });
      mark(told.marks, sent);
    } else {
      const here = full().indexOf(at.row);
      rows = told.rows.map(named);
      mark(told.marks, rows);
      at = { row: rows[Math.max(0, Math.min(here, rows.length - 1))], key: at.key };
      for (const which of ["in", "out"]) if (!part(which).length) rows.push(fresh(which, 1));
    }
    const inside = home.contains(document.activeElement);
    draw(false);
    const input = inputOf(at.row, at.key);
    if (!inside || !input) return;
    input.focus({ preventScroll: true });
    if (typing === null) input.select();
    else input.value = typing;
  }

  function named(cells) {
    return Object.fromEntries(columns.map(({ key }, n) => [key, cells[n]]));
  }

  function mark(marks, of) {
    for (const row of of) row.marks = [];
    for (const one of marks) of[one.row]?.marks.push(one);
    for (const row of of) if (row.marks.some((one) => one.guess && row.kind)) row.guessed = "yes";
  }

  // Paste

  async function paste(text) {
    const cells = split(text);
    if (cells.length > MOST + 10) {
      const many = cells.length.toLocaleString("en-GB");
      return tell(`That is ${many} lines; an input list holds at most ${MOST}. Nothing was pasted.`, true);
    }
    editing = false;
    offer.close();
    const whole = cells.slice(0, 8).some((row) => headed(row, columns)) || (!full().length && cells[0].length > 1 && at.key === "source");
    if (whole) return sheet(text, cells.length);
    step();
    const keys = visible();
    const from = keys.indexOf(at.key);
    const which = way(at.row);
    const start = part(which).indexOf(at.row);
    cells.forEach((line, n) => {
      let row = part(which)[start + n];
      if (!row) {
        row = fresh(which, top(which) + 1);
        rows.push(row);
      }
      line.forEach((cell, m) => {
        const key = keys[from + m];
        if (key) row[key] = said(cell);
      });
    });
    const wide = Math.max(...cells.map((line) => line.length)) - (keys.length - from);
    draw(true);
    soon(0);
    return tell(`Pasted ${cells.length} line${cells.length === 1 ? "" : "s"}. Not saved yet.${wide > 0 ? ` ${wide} column${wide === 1 ? "" : "s"} had no room at the right.` : ""}`);
  }

  async function sheet(text) {
    tell("Reading what was pasted.");
    let told;
    try {
      told = await ask(text);
    } catch {
      return tell("It could not be read: no connection. Nothing was pasted; try again.", true);
    }
    if (told.wrong) return tell(told.wrong, true);
    step();
    const were = full().length;
    rows = told.rows.map(named);
    mark(told.marks, rows);
    for (const which of ["in", "out"]) if (!part(which).length) rows.push(fresh(which, 1));
    at = { row: rows[0], key: "source" };
    draw(true);
    const instead = were ? ` in the place of the ${were} that were there; Ctrl+Z brings them back` : "";
    return tell(`Read ${told.rows.length} lines${instead}. Not saved yet. ${told.said.join(" ")}`);
  }

  // Keys

  function choicesOf(row, key) {
    const own = { where: "where", box: "box" }[key];
    const named_ = own ? rows.map((each) => each[own]).filter(Boolean) : [];
    const base = key === "kind" && way(row) === "out" ? choices.kind_out : choices[key];
    return base || own ? [...new Set([...(base || []), ...named_])] : null;
  }

  function suggest(input, all = false) {
    const names = choicesOf(at.row, at.key);
    if (!names) return offer.close();
    return offer.show(input, names, all ? "" : input.value, (name) => {
      editing = true;
      input.value = name;
      commit();
      input.focus();
      input.select();
    }, at.key === "kind");
  }

  function across(by, wrap) {
    const keys = visible();
    const n = keys.indexOf(at.key) + by;
    if (keys[n]) return go(at.row, keys[n]), true;
    if (!wrap) return false;
    const all = ordered();
    const row = all[all.indexOf(at.row) + by];
    if (!row) return false;
    return go(row, by > 0 ? keys[0] : keys.at(-1)), true;
  }

  function down(by, make = false) {
    const all = ordered();
    const same = part(way(at.row));
    if (make && by > 0 && same.at(-1) === at.row && !blank(at.row) && rows.length < MOST) {
      step();
      const made = fresh(way(at.row), top(way(at.row)) + 1);
      rows.splice(rows.indexOf(at.row) + 1, 0, made);
      at = { row: made, key: at.key === "number" ? "source" : at.key };
      return draw(true);
    }
    return go(all[all.indexOf(at.row) + by], at.key);
  }

  const keys = {
    Enter(event) {
      if (event.ctrlKey || event.metaKey) return putIn(at.row);
      if (offer.chosen) inputOf(at.row, at.key).value = offer.chosen;
      commit();
      return down(event.shiftKey ? -1 : 1, true);
    },
    Tab(event) {
      if (leaving) return false;
      if (offer.chosen) inputOf(at.row, at.key).value = offer.chosen;
      commit();
      return across(event.shiftKey ? -1 : 1, true);
    },
    Escape() {
      if (offer.open) return offer.close();
      if (!editing) {
        leaving = true;
        return tell("Tab leaves the grid now.");
      }
      editing = false;
      const input = inputOf(at.row, at.key);
      input.value = held;
      return input.select();
    },
    ArrowUp: (event) => vertical(event, -1),
    ArrowDown: (event) => vertical(event, 1),
    ArrowLeft: () => !editing && across(-1, false),
    ArrowRight: () => !editing && across(1, false),
    Home: (event) => edge(event, 0),
    End: (event) => edge(event, -1),
    F2: () => edit(),
    F4: () => suggest(inputOf(at.row, at.key), true),
    Delete: (event) => (event.ctrlKey || event.metaKey ? takeOut(at.row) : clear()),
    Backspace: (event) => (event.ctrlKey || event.metaKey ? !editing && takeOut(at.row) : clear()),
    z: (event) => (event.ctrlKey || event.metaKey) && !editing && (event.shiftKey ? back(ahead, past) : back(past, ahead)),
    y: (event) => (event.ctrlKey || event.metaKey) && !editing && back(ahead, past),
    s: (event) => (event.ctrlKey || event.metaKey) && form.requestSubmit(form.querySelector("[value=save]")),
  };

  function vertical(event, by) {
    if (event.altKey) return move(at.row, by);
    if (offer.open) return offer.step(by);
    commit();
    return down(by);
  }

  function edge(event, which) {
    if (editing) return false;
    if (event.ctrlKey || event.metaKey) return go(ordered().at(which), visible().at(which));
    return go(at.row, visible().at(which));
  }

  function edit() {
    editing = true;
    const input = inputOf(at.row, at.key);
    input.setSelectionRange(input.value.length, input.value.length);
  }

  function clear() {
    if (editing) return false;
    const input = inputOf(at.row, at.key);
    if (!input.value) return true;
    input.value = "";
    editing = true;
    commit();
    return true;
  }

  home.addEventListener("keydown", (event) => {
    if (!event.target.matches("[data-key]") || event.isComposing) return;
    const act = keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (event.key !== "Escape" && event.key !== "Tab" && event.key !== "Shift") leaving = false;
    if (act && act(event) !== false) {
      event.preventDefault();
      event.stopPropagation();
    }
  });

  home.addEventListener("input", (event) => {
    editing = true;
    suggest(event.target);
  });

  let pressed = null;
  home.addEventListener("pointerdown", (event) => {
    pressed = event.target === document.activeElement ? event.target : null;
  });
  home.addEventListener("click", (event) => {
    const take = event.target.closest("[data-take]");
    if (take) {
      const row = ordered()[Number(take.dataset.row)];
      step();
      row[take.dataset.at] = take.dataset.take;
      row.marks = row.marks.filter((one) => one.key !== take.dataset.at);
      at = { row, key: take.dataset.at };
      draw(true);
      return soon(0);
    }
    const add = event.target.closest("[data-add]");
    if (add) {
      commit();
      const last = part(add.dataset.add).at(-1);
      return last && !blank(last) ? putIn(last) : go(last, "source");
    }
    if (!event.target.matches("[data-key]")) return undefined;
    if (pressed === event.target) editing = true;
    return suggest(event.target, true);
  });
  home.addEventListener("dblclick", (event) => event.target.matches("[data-key]") && edit());

  home.addEventListener("focusin", (event) => {
    const input = event.target;
    if (!input.matches("[data-key]")) return;
    const row = ordered()[Number(input.dataset.row)];
    if (row === at.row && input.dataset.key === at.key && editing) return;
    inputOf(at.row, at.key)?.setAttribute("tabindex", "-1");
    at = { row, key: input.dataset.key };
    input.setAttribute("tabindex", "0");
    held = input.value;
    editing = false;
    leaving = false;
    for (const each of home.querySelectorAll("tr[data-here]")) delete each.dataset.here;
    input.closest("tr").dataset.here = "";
    input.select();
  });
  home.addEventListener("focusout", (event) => {
    if (event.target.matches("[data-key]") && !drawing) commit();
  });
  home.addEventListener("paste", (event) => {
    const text = event.clipboardData.getData("text/plain");
    if (!event.target.matches("[data-key]") || !/[\t\n]/.test(text.trimEnd())) return;
    event.preventDefault();
    paste(text);
  });
  home.addEventListener("scroll", () => offer.close(), true);

  // The bar: the same by thumb

  const toolbar = (name, label) => {
    const bar = document.createElement("div");
    bar.className = name;
    bar.setAttribute("role", "toolbar");
    bar.setAttribute("aria-label", label);
    return bar;
  };
  const bar = toolbar("tools", "This line");
  const steps = toolbar("tools steps", "Steps back and on");
  const tools = [
    ["Line below", "Ctrl+Enter", () => putIn(at.row)],
    ["Up", "Alt+↑", () => move(at.row, -1)],
    ["Down", "Alt+↓", () => move(at.row, 1)],
    ["Remove", "Ctrl+Delete", () => takeOut(at.row)],
    ["Undo", "Ctrl+Z", () => back(past, ahead)],
    ["Redo", "Ctrl+Y", () => back(ahead, past)],
    ["Number afresh", "", renumber],
  ];
  for (const [name, key, act] of tools) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "act";
    button.textContent = name;
    if (key) button.title = key;
    button.addEventListener("pointerdown", (event) => event.preventDefault());
    button.addEventListener("click", () => {
      commit();
      act();
    });
    (name.endsWith("do") ? steps : bar).append(button);
  }
  const views = document.createElement("label");
  views.className = "views";
  views.textContent = "Columns ";
  const pick = document.createElement("select");
  for (const [key, name] of [["all", "all"], ["what", "what it is"], ["patch", "patch"], ["care", "power and care"]]) {
    pick.append(new Option(name, key, key === view, key === view));
  }
  pick.addEventListener("change", () => {
    commit();
    view = pick.value;
    if (!visible().includes(at.key)) at.key = "source";
    draw();
  });
  views.append(pick);
  bar.append(views);
  state.before(steps, bar);
  const help = document.createElement("p");
  help.className = "quiet keys";
  help.textContent = "Type to write, Enter goes down, Tab goes right, Alt and an arrow moves a line, Ctrl+Enter puts one in, Esc then Tab leaves the grid. Paste a block from a spreadsheet where you are; with headings it is read as a sheet. Italic kinds were guessed from the name.";
  form.append(help);

  // Leaving

  form.addEventListener("submit", () => {
    commit();
    field.value = write(full(), columns);
    dirty = false;
  });
  addEventListener("beforeunload", (event) => {
    commit();
    if (dirty) event.preventDefault();
  });
  addEventListener("pageshow", (event) => {
    if (event.persisted) dirty = true; // brought back by the browser: what it shows may differ from what is kept
  });
  for (const other of document.querySelectorAll("[data-leaves]")) {
    other.addEventListener("submit", (event) => {
      if (!dirty || "sure" in other.dataset) return void (dirty = false);
      event.preventDefault();
      other.dataset.sure = "";
      return tell("What you changed is not saved. Save it first, or press again to leave it.", true);
    });
  }

  draw();
  if (dirty) tell("Not saved yet.");
}
