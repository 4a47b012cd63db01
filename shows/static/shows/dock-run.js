// How far the list is, counted here while the shop does not answer: what it knew when this device learnt it by heart, and what
// was scanned here since. As shows/progress.py places things and shows/dock.py says it; a test holds them together.
import { desk, state } from "./dock-desk.js";
import { countsTurned } from "./dock-count.js";
import { silence } from "./dock-known.js";

const NAMED = 6;
const HERE = ["out", "truck"];

// What to draw of the chosen show, or null where it is not known by heart.
export async function countByHeart(queue, since) {
  const show = desk.show(state.show);
  if (!show?.run) return null;
  const late = [...(await queue.sentSince(since)), ...queue.bodies()];
  const isOlder = (scan) => scan.action === "undo" && scan.code.startsWith("COUNT.") && !late.some(({ id }) => id === scan.undoes);
  const lines = placed(show, late, late.some(isOlder) ? await queue.sentSince(0) : []);
  if (show.id === state.show) drawRows(lines);
  const run = said(lines, state.way);
  const at = new Date(state.madeAt).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  return { ...run, still: `${silence()}: counted here, from what it knew at ${at}. ${run.still}` };
}

// ---- where things belong ----

function placed(show, late, ever) {
  const { run } = show;
  const lines = run.lines.map(([type, mm, code, wanted, name]) => line(type, mm, name, { code, wanted }));
  const named = new Map(lines.filter((one) => one.code).map((one) => [one.code, one]));
  const of = (type, mm) => lines.find((one) => !one.code && one.type === type && one.mm === mm);
  const extra = (type, mm, name) => lines[lines.push(line(type, mm, name)) - 1];

  const sums = [...counted(show.id, run, late, ever)].map(([id, count]) => ({ ...state.lines.get(String(id)), count }));
  sums.sort((a, b) => byName(state.kinds[a.type], state.kinds[b.type]) || a.mm - b.mm);
  for (const { type, mm, name, count } of sums) {
    if (!type || !(count.net || count.came || count.lost)) continue;
    const into = of(type, mm) ?? of(type, 0) ?? extra(type, mm, name);
    into.counted += Math.max(0, count.net);
    into.countedBack += count.came;
    into.lost += count.lost;
  }
  const things = [...went(show, late)];
  // what is out fills the lines first, so that a thing already back never takes the place of one that is there
  for (const thing of [...things.filter((one) => one.is !== "back"), ...things.filter((one) => one.is === "back")]) {
    const [exact, any] = [of(thing.type, thing.mm), of(thing.type, 0)];
    const toAny = any && (!exact || (hasGone(exact) >= exact.wanted && hasGone(any) < any.wanted));
    const into = named.get(thing.code) ?? (toAny ? any : exact) ?? extra(thing.type, thing.mm, nameOf(thing));
    into.things.push(thing);
  }
  return lines;
}

const line = (type, mm, name, { code = "", wanted = 0 } = {}) => ({ type, mm, code, wanted, name, things: [], counted: 0, countedBack: 0, lost: 0 });
const nameOf = ({ type, mm }) => [state.kinds[type], mm ? `${mm / 1000}\u2009m` : ""].filter(Boolean).join(" ");
const byName = (a = "", b = "") => (a < b ? -1 : a > b);
const isHere = (thing) => HERE.includes(thing.is);
const isLoaded = (thing) => thing.is === "truck" && !thing.missing;
const out = (one) => one.things.filter(isHere).length + one.counted;
const back = (one) => one.things.filter((thing) => thing.is === "back").length + one.countedBack;
const sumOf = (all, of) => all.reduce((sum, one) => sum + of(one), 0);
const hasGone = (one) => out(one) + back(one) + one.lost;

// What went to a show and is out, on the truck or back: first what the shop knew, then what was scanned here, in order.
function* went({ id, run }, late) {
  const known = new Set();
  for (const [code, type, mm, is] of run.went) {
    known.add(code);
    const item = desk.known(code);
    const now = item ? stands(item, id, is === "back") : is;
    if (now) yield { code, type, mm, is: now, missing: item?.missing, doubt: item?.doubt };
  }
  // when a thing went, by itself or with its case
  const leaves = late.filter(({ action, show }) => show === id && HERE.includes(action));
  const turn = new Map(leaves.map((scan, at) => [desk.known(scan.code)?.code, at]).reverse());
  const place = (item) => Math.min(turn.get(item?.code) ?? Infinity, item?.inCase ? place(desk.known(item.inCase)) : Infinity);
  const fresh = desk.all().filter((item) => !known.has(item.code) && stands(item, id));
  for (const item of fresh.sort((a, b) => place(a) - place(b) || 0)) {
    yield { code: item.code, type: item.type, mm: item.mm, is: stands(item, id), missing: item.missing, doubt: item.doubt };
  }
}

function stands(item, show, wasBack = false) {
  if (item.show === show) return item.truck ? "truck" : "out";
  return wasBack || item.been?.includes(show) ? "back" : "";
}

// Sums of counted lines: what the shop knew, and what was counted or taken back here since.
function counted(show, run, late, ever) {
  const sums = new Map(run.counted.map(([id, net, came, lost]) => [id, { net, came, lost }]));
  const known = new Map([...ever, ...late].map((scan) => [scan.id, scan]));
  const [since, undone] = [new Set(late.map((scan) => scan.id)), late.filter((scan) => scan.action === "undo")];
  const counts = late.filter((scan) => !undone.some(({ undoes }) => undoes === scan.id)).map((scan) => [scan, 1]);
  const takenBack = undone.filter(({ undoes }) => known.has(undoes) && !since.has(undoes)).map(({ undoes }) => [known.get(undoes), -1]);
  for (const [{ code, action, counted: many, show: to }, by] of [...counts, ...takenBack]) {
    if (to !== show || !code.startsWith("COUNT.") || !Number.isInteger(many) || !["out", "back"].includes(action)) continue;
    const id = Number(code.slice(6));
    const sum = sums.get(id) ?? { net: 0, came: 0, lost: 0 };
    sums.set(id, sum);
    sum.net += (action === "out" ? many : -many) * by;
    if (action === "out") continue;
    sum.came += many * by;
    if (!state.lines.get(String(id))?.used) continue;
    // what does not come back of a consumable is used up; what comes all the same was not
    const used = sum.net < 0 ? -Math.min(-sum.net, sum.lost) : sum.net;
    sum.lost += used;
    sum.net -= used;
  }
  return sums;
}

// ---- what is said of it ----

function said(lines, way) {
  const labelled = (one) => one.things.filter(isHere).length;
  const beyond = sumOf(lines, (one) => Math.max(0, out(one) - one.wanted));
  const isCounted = lines.some((one) => one.counted);
  const [pair, words, lead] = {
    out: [(one) => [Math.min(one.wanted, out(one)), one.wanted], `on the list${beyond ? `, ${beyond} out beyond it` : ""}`, "Still to pull"],
    truck: [(one) => [one.things.filter(isLoaded).length, labelled(one)], `${isCounted ? "labelled " : ""}on the truck`, "Still in the room"],
    back: [(one) => [back(one), hasGone(one)], "back", "Not seen yet"],
  }[way];
  const pairs = lines.map((one) => [...pair(one), one.name]);
  const [done, total] = [0, 1].map((at) => sumOf(pairs, (one) => one[at]));
  const lacking = pairs.filter(([have, all]) => all > have).map(([have, all, name]) => lackingWords(all - have, name));
  const more = lacking.length > NAMED ? ` and ${lacking.length - NAMED} more kinds` : "";
  const doubtful = way === "truck" && done ? lines.flatMap((one) => one.things).filter((thing) => thing.is === "truck" && thing.doubt) : [];
  let still = lacking.length ? `${lead}: ${lacking.slice(0, NAMED).join(", ")}${more}` : "That is everything.";
  if (!total) still = way === "out" ? "Nothing is on this pull list yet." : "Nothing of this show is out.";
  if (doubtful.length) {
    const look = `Look inside ${[...new Set(doubtful.map((thing) => thing.doubt))].join("; ")}.`;
    still = lacking.length ? `${look} ${still}` : look;
  }
  const unsure = doubtful.length ? `, ${doubtful.length} to look at` : "";
  return { done: done - doubtful.length, total, words: `of ${total} ${words}${unsure}`, still };
}

// a word begins small inside a sentence; TS or XLR keeps its capitals
function lackingWords(count, name) {
  const second = name.charAt(1);
  const isShort = second !== second.toLowerCase();
  const small = isShort ? name : name.charAt(0).toLowerCase() + name.slice(1);
  return count === 1 ? small : `${count}\u00a0×\u00a0${small}`;
}

// The rows of counted lines say the same; a number being typed is left alone where nothing changed.
function drawRows(lines) {
  const box = document.querySelector(".counting");
  let isNew = Number(box.dataset.show) !== state.show;
  if (isNew) makeRows(box, lines);
  for (const { dataset } of document.querySelectorAll("form.count")) {
    const { type, mm } = state.lines.get(dataset.line) ?? {};
    const one = lines.find((held) => !held.code && held.type === type && held.mm === mm);
    const now = one && { wanted: one.wanted, out: state.way === "back" ? one.counted : out(one), back: one.countedBack };
    for (const [name, value] of Object.entries(now ?? {})) {
      if (dataset[name] === String(value)) continue;
      dataset[name] = value;
      isNew = true;
    }
  }
  if (isNew) countsTurned(state.way);
}

// The rows of a show that was turned to without a new page.
function makeRows(box, lines) {
  const made = [];
  for (const [id, { type, mm, name }] of state.lines) {
    if (!lines.some((one) => !one.code && one.type === type && one.mm === mm)) continue;
    const row = box.querySelector("template").content.firstElementChild.cloneNode(true);
    row.id = `line-${id}`;
    Object.assign(row.dataset, { line: id, name });
    row.elements.line.value = id;
    row.querySelector("b").textContent = name;
    for (const one of row.querySelectorAll("input[id]")) {
      const label = row.querySelector(`label[for="${one.id}"]`);
      label.htmlFor = one.id = `${one.name}-${id}`;
    }
    for (const key of row.querySelectorAll("[aria-label]")) key.setAttribute("aria-label", key.getAttribute("aria-label") + name);
    row.querySelector(".out-of-sight").textContent += name;
    made.push(row);
  }
  box.querySelectorAll("form").forEach((row) => row.remove());
  box.append(...made);
  box.dataset.show = state.show;
  box.hidden = !made.length;
}
