// The dock: readers feed texts in, scans go out through the queue, answers come back as strips, sound and a shake of the hand.
import { el, gates, lettered, mark, spell } from "./dock-draw.js";
import { deviceName, localStore, nextSeq, openQueue, uuid4 } from "./dock-queue.js";
import { readText, typedReader } from "./dock-reader.js";
import { panels } from "./dock-panel.js";
import { sound, soundIsOn, turnSound } from "./dock-sound.js";

const $ = (id) => document.getElementById(id);
const kit = $("kit").dataset;
const form = $("scan");
const field = $("code");
const token = () => form.elements.csrfmiddlewaretoken.value;

const LAST = 10;
const UNANSWERED_MS = 25000; // a count nobody gives: the case goes as vouched
const PATIENCE_MS = 1500; // then the hand is told that the scan is kept here
const RANK = { fine: 0, look: 1, stop: 2 };
const WAYS = ["out", "truck", "back"];
const WORD = { out: "Out", truck: "On the truck", back: "Back" };
const DAYS_4 = 4 * 86400;
const HOURS_3 = 3 * 3600;

const state = {
  show: Number(kit.show),
  name: kit.name,
  way: kit.way,
  mode: kit.mode ? { kind: kit.mode } : null,
  shows: [],
  known: new Map(), // every code, aliases too, to what it is
  lines: new Map(),
  asking: null, // an open question: the scan it holds
};
const log = localStore(`kg.last.${kit.person}`);

// ---- what is known --------------------------------------------------------------------------------------------------

async function learn() {
  try {
    const snapshot = await (await fetch(`${kit.snapshot}?show=${state.show}`, { credentials: "same-origin" })).json();
    state.shows = snapshot.shows;
    for (const item of snapshot.items) state.known.set(item.code, item);
    for (const [alias, code] of snapshot.aliases) state.known.set(alias, state.known.get(code));
    for (const line of snapshot.lines) state.lines.set(String(line.id), line.name);
  } catch {
    // Without it the page still scans; names come with the answers.
  }
}

let looking;
async function look(codes) {
  const query = new URLSearchParams({ show: state.show, way: state.way });
  codes.slice(0, 100).forEach((code) => query.append("code", code));
  looking?.abort();
  looking = new AbortController();
  try {
    const answer = await (await fetch(`${kit.lookup}?${query}`, { credentials: "same-origin", signal: looking.signal })).json();
    for (const [code, item] of Object.entries(answer.items)) state.known.set(code, item);
    if (state.show) drawRun(answer.run);
    if (codes.length) {
      redraw();
      drawLast();
    }
  } catch {
    // The count catches up with the next answer.
  }
}

// ---- the way and the show -------------------------------------------------------------------------------------------

const remember = (name, value, age) => {
  document.cookie = `${name}=${value}; path=/; max-age=${age}; samesite=lax`;
};

function turn(way, { chosen = true } = {}) {
  const show = state.shows.find((one) => one.id === state.show);
  state.way = way;
  if (chosen) remember("dock_way", way, HOURS_3);
  const header = document.querySelector(".way");
  header.dataset.way = way;
  header.querySelector(".name").textContent = WORD[way];
  if (show) header.querySelector(".under").textContent = show.under[way];
  document.title = `${WORD[way]}, ${state.name}: Knowngood`;
  say(`${WORD[way]}, ${state.name}.`);
  if (chosen) hint(WORD[way], `What you scan next ${{ out: "goes out", truck: "is on the truck", back: "is back" }[way]}.`);
  look([]);
}

// The times go on while the page lies open: a way nobody turned follows them.
function followTheClock() {
  if (document.cookie.includes("dock_way=")) return;
  const show = state.shows.find((one) => one.id === state.show);
  const now = Date.now();
  const step = show?.ways.filter(([since]) => !since || Date.parse(since) <= now).pop();
  if (step && step[1] !== state.way) turn(step[1], { chosen: false });
}

function goTo(show, way) {
  remember("dock_show", show, DAYS_4);
  remember("dock_way", way, HOURS_3);
  const known = state.shows.find((one) => one.id === show);
  if (!known) {
    location.assign(`${kit.dock}?show=${show}&way=${way}`);
    return;
  }
  state.show = show;
  state.name = known.name;
  document.querySelector(".show-name").textContent = known.name;
  turn(way);
}

// ---- scanning -------------------------------------------------------------------------------------------------------

const queue = openQueue({
  url: kit.api,
  device: deviceName(),
  token,
  store: localStore(`kg.queue.${kit.person}`),
  onAnswers: answered,
  onState: ({ state: now, waiting }) => {
    const words = {
      "no signal": `${waiting} kept on this device until there is signal.`,
      "no answer": `${waiting} kept on this device: the shop's computer does not answer yet.`,
      "sign in": `${waiting} kept on this device. Sign in again and they are sent.`,
      refused: `${waiting} kept on this device: one of them could not be sent as it is.`,
      "not kept": "This browser keeps nothing: leave the page open until all is sent.",
    }[now];
    $("waiting").hidden = !words || !waiting;
    $("waiting").textContent = words ?? "";
    if (now === "sign in") $("waiting").append(" ", el("a", { href: `${kit.signIn}?next=${kit.dock}` }, "Sign in"));
  },
});

// Keep a scan: on the list at once, in the queue at once, told to the hand when the answer comes.
function scan(body, { held = false, name = "", quiet = false } = {}) {
  const full = {
    id: uuid4(),
    seq: nextSeq(),
    show: state.show || null,
    happened_at: new Date().toISOString(),
    ...body,
  };
  if (!quiet) {
    const entry = { id: full.id, code: full.code, action: full.action, name, signal: "kept", counted: full.counted ?? null };
    log.write([entry, ...log.read()].slice(0, LAST));
    drawLast();
    setTimeout(() => queue.has(full.id) && !isHeld(full.id) && drawKept(full.id), PATIENCE_MS);
  }
  queue.add(full, { held });
  return full;
}

const isHeld = (id) => state.asking?.id === id;
const itemOf = (text) => {
  const read = readText(text);
  return read.kind === "code" ? state.known.get(read.code) : undefined;
};
const entryOf = (id) => log.read().find((entry) => entry.id === id);
const amend = (id, changes) => log.write(log.read().map((entry) => (entry.id === id ? { ...entry, ...changes } : entry)));
const lastEntry = () => log.read().find((entry) => !entry.undone);

function read(text) {
  counting = false;
  const what = readText(text);
  if (state.asking && what.kind === "number") return state.asking.count(what.number);
  if (state.asking?.isMissing && what.kind === "code" && state.asking.miss(what.code)) return undefined;
  settle();
  if (what.kind === "command") return obey(what.word);
  if (what.kind === "show" && WAYS.includes(what.way)) return goTo(what.show, what.way);
  if (what.kind === "count") return askCount(what.line);
  if (what.kind === "channel") return panel.channel(what.channel);
  const mode = state.mode;
  const item = itemOf(text);
  const code = text.slice(0, 4096);
  if (mode?.kind === "swap") {
    if (what.code === readText(mode.dead).code) return warn("That is the dead one again", "Scan the spare that takes its place.");
    arm(null);
    return scan({ code, action: "out", replaces: mode.dead }, { name: item?.name });
  }
  if (mode?.kind === "suspect") {
    arm(null);
    const made = scan({ code, action: "inspect", condition: "suspect", symptom: mode.symptom ?? "other" }, { held: !mode.symptom, name: item?.name });
    if (!mode.symptom) holdForSymptom(made, item);
    return made;
  }
  if (mode?.kind === "bag") {
    return scan({ code, action: "inspect", condition: "suspect", symptom: "other", note: "Into the bench bag" }, { name: item?.name });
  }
  if (item?.inside && WAYS.includes(state.way)) {
    const made = scan({ code, action: state.way }, { held: true, name: item.name });
    askInside(made, item);
    return made;
  }
  return scan({ code, action: state.way }, { name: item?.name });
}

function obey(word) {
  if (word === "OUT" || word === "TRUCK" || word === "BACK") {
    arm(null);
    if (!state.show && word !== "BACK") location.assign(kit.shows);
    else turn(word.toLowerCase());
  } else if (word === "UNDO") undo();
  else if (word === "SUSPECT") arm({ kind: "suspect" });
  else if (word === "BAG") arm({ kind: "bag" });
  else if (word === "CLOSE") {
    arm(null);
    panel.close();
    redraw();
  } else warn("Not a card of ours", "That command is not one the dock knows.");
}

function arm(mode) {
  state.mode = mode;
  const words = { suspect: "Suspect: scan it", bag: "Bench bag: what you scan goes in", swap: "Swap: scan the spare" }[mode?.kind];
  $("armed").hidden = !words;
  $("armed").textContent = words ?? "";
  if (words) say(words);
}

// A question left open when the next thing is scanned: the scan goes as it stands.
function settle() {
  if (!state.asking) return;
  const { id, timer } = state.asking;
  clearTimeout(timer);
  state.asking = null;
  if (id) queue.release(id);
}

function hold(question) {
  state.asking = question;
  question.timer = setTimeout(() => state.asking === question && (settle(), redraw()), UNANSWERED_MS);
}

function answerWith(id, changes) {
  if (!isHeld(id)) return;
  clearTimeout(state.asking.timer);
  state.asking = null;
  amend(id, { counted: changes.counted ?? null });
  queue.release(id, changes);
  drawLast();
  redraw();
  setTimeout(() => queue.has(id) && drawKept(id), PATIENCE_MS);
}

// ---- a case: its contents go along once counted ---------------------------------------------------------------------

function askInside(made, item) {
  const missing = new Set();
  let counted = item.inside;
  const done = () => answerWith(made.id, { counted, missing: [...missing] });
  const question = { id: made.id, isMissing: false, count: (number) => ((counted = number), done()), miss };
  hold(question);
  draw(null);

  function miss(code) {
    const one = state.known.get(code)?.code ?? code;
    if (!item.contents.some(([inside]) => inside === one)) return false;
    if (missing.has(one)) missing.delete(one);
    else missing.add(one);
    counted = item.inside - missing.size;
    draw(null);
    return true;
  }

  function draw() {
    const choices = question.isMissing
      ? [steps(() => counted, (number) => (counted = number)), choose([`That is ${counted}`, done, "next"], ["No count", () => (settle(), redraw())])]
      : [choose([`Yes, ${item.inside}`, done, "next"], ["Not all", () => ((question.isMissing = true), draw())])];
    const list = question.isMissing
      ? el("ul", { class: "inside-list" }, ...item.contents.slice(0, 60).map(([code, name]) =>
          el("li", {}, el("button", { type: "button", class: "strip lined", "aria-pressed": String(missing.has(code)), onclick: () => miss(code) },
            lettered(name), el("span", { class: "code" }, missing.has(code) ? "missing" : spell(code))))))
      : null;
    drawHit({ signal: "ask", word: `${item.inside} inside`, name: item.name, code: item.code, quiet: [...(item.counted ?? [])].join(", "), standing: item.standing,
      reason: question.isMissing ? "Tap what is missing, or put the count right." : "All there? The next scan goes on without a count.", choices, list });
    say(`${item.name}: ${item.inside} inside. All there?`);
  }
}

function holdForSymptom(made, item) {
  hold({ id: made.id, count: () => settle() });
  panel.symptoms({
    name: item?.name ?? spell(made.code),
    say: ({ condition, symptom }) => {
      panel.close();
      answerWith(made.id, { condition, symptom });
    },
  });
}

// ---- counted lines --------------------------------------------------------------------------------------------------

function askCount(line) {
  const row = document.querySelector(`form.count[data-line="${line}"]`);
  const name = row?.dataset.name ?? state.lines.get(line);
  if (!name) return scan({ code: `COUNT.${line}`, action: state.way === "truck" ? "out" : state.way }, { name: `Counted line ${line}` });
  if (!state.show) return warn(name, "A count belongs to a show: choose the show first.");
  let good = Number(row?.elements.good.value ?? 0);
  const done = () => {
    state.asking = null;
    count(line, name, good, 0);
  };
  hold({ id: null, count: (number) => ((good = number), done()) });
  drawHit({ signal: "ask", word: "How many?", name, code: `COUNT.${line}`, reason: "Type the number, or step to it.",
    choices: [steps(() => good, (number) => (good = number)), choose([state.way === "back" ? "Back" : "Out", done, "next"], ["None", () => (settle(), redraw())])] });
  return undefined;
}

function count(line, name, good, bad) {
  const action = state.way === "back" ? "back" : "out";
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
    if (!Number.isInteger(good) || !Number.isInteger(bad) || good < 0 || bad < 0 || good + bad === 0 || good + bad > 100000) {
      warn(row.dataset.name, "A count is a whole number, at least 1.");
      return;
    }
    settle();
    count(row.dataset.line, row.dataset.name, good, bad);
    row.elements.good.value = 0;
    if (row.elements.bad) row.elements.bad.value = 0;
    field.focus({ preventScroll: true });
  });
}

// ---- undo -----------------------------------------------------------------------------------------------------------

function undo(id) {
  const entry = id ? entryOf(id) : lastEntry();
  if (!entry || entry.undone) return warn("Nothing to undo", "This device has scanned nothing that could be taken back.");
  settle();
  amend(entry.id, { undone: true });
  scan({ code: entry.code, action: "undo", undoes: entry.id }, { quiet: true });
  drawLast();
  drawHit({ signal: "undone", word: "Undone", name: nameOf(entry), code: entry.code, reason: "Taken back. Scan it again if that was a slip." });
  say(`Undone: ${nameOf(entry)}.`);
  return undefined;
}

// ---- answers --------------------------------------------------------------------------------------------------------

function answered(results, bodies) {
  const codes = [];
  let worst = null;
  results.forEach((result, at) => {
    const body = bodies[at];
    const code = readText(result.code || body.code);
    if (code.kind === "code") codes.push(code.code);
    if (body.action === "undo") {
      if (result.signal !== "fine") worst ??= { result, body };
      return;
    }
    amend(body.id, { signal: result.signal, reason: result.reason, outcome: result.outcome, code: result.code || body.code });
    if (!worst || RANK[result.signal] >= RANK[worst.result.signal]) worst = { result, body };
  });
  drawLast();
  if (worst) {
    sound(worst.result.signal);
    if (!state.asking) {
      showing = worst.body.id;
      if (worst.body.action === "undo") warn("Look", worst.result.reason);
      else redraw();
    }
    say(`${worst.result.signal}. ${nameOf(entryOf(worst.body.id) ?? worst.body)}. ${worst.result.reason ?? ""}`, worst.result.signal === "stop");
  }
  look([...new Set(codes)]);
}

let showing = null;
let drawn = ""; // what the strip says now: it is drawn anew only when that changes, so that no tap falls on a strip just gone

const nameOf = (entry) => itemOf(entry.code)?.name || entry.name || spell(entry.code.trim().slice(0, 40));

function redraw() {
  const entry = entryOf(showing);
  if (!entry || state.asking || entry.undone) return;
  const item = itemOf(entry.code);
  const inside = item?.inside;
  const says = JSON.stringify([entry, item?.name, item?.code, item?.standing, item?.says, inside]);
  if (says === drawn) return;
  drawHit({
    signal: entry.signal,
    word: { fine: "Fine", look: "Look", stop: "Stop", kept: "Kept" }[entry.signal],
    name: nameOf(entry),
    code: item?.code ?? entry.code.slice(0, 40),
    standing: item?.standing,
    quiet: entry.counted !== null ? `${entry.counted}${inside ? ` of ${inside}` : ""} counted${inside > entry.counted ? `, ${inside - entry.counted} short` : ""}` : item?.says,
    reason: entry.reason,
    kept: entry.signal === "stop" ? "Your scan is kept either way." : "",
    choices: choicesFor(entry, item),
  });
  drawn = says;
}

function choicesFor(entry, item) {
  if (entry.settled) return [];
  const leave = () => (amend(entry.id, { settled: true }), redraw());
  const counts = entry.outcome === "accepted" || entry.outcome === "contradiction";
  if (entry.signal === "stop" && counts && entry.action === "out") {
    return [choose(["Into the bench bag", () => intoBag(entry), "next"], ["It goes anyway", leave])];
  }
  if (entry.signal === "stop" && !item && entry.outcome === "unknown") return [choose(["It is a stray", () => stray(entry), "next"], ["A misread", () => undo(entry.id)])];
  if (entry.signal === "look" && entry.action === "out") return [choose(["Keep it here", leave, "next"], ["Put it back", () => undo(entry.id)])];
  return [];
}

function intoBag(entry) {
  amend(entry.id, { undone: true });
  scan({ code: entry.code, action: "undo", undoes: entry.id }, { quiet: true });
  scan({ code: entry.code, action: "inspect", condition: "suspect", symptom: "other", note: "Into the bench bag" }, { name: `${nameOf(entry)}, bench bag` });
}

async function stray(entry) {
  const body = new URLSearchParams({ csrfmiddlewaretoken: token(), code: entry.code.slice(0, 200), scan: entry.id });
  try {
    const answer = await fetch(kit.stray, { method: "POST", body, credentials: "same-origin", headers: { Accept: "application/json" } });
    const { said } = await answer.json();
    amend(entry.id, { settled: true, reason: said });
    redraw();
  } catch {
    warn("Not kept yet", "There is no signal to note a stray. Put it aside and tap again later.");
  }
}

// ---- drawing --------------------------------------------------------------------------------------------------------

function choose(...pairs) {
  return el("p", { class: "choose" }, ...pairs.map(([word, act, kind]) =>
    el("button", { type: "button", class: `strip ${kind ?? "lined"}`, onclick: () => act() }, el("span", { class: "name" }, word))));
}

function steps(get, set) {
  const shown = el("output", { class: "stamp" }, String(get()));
  const step = (by) => {
    set(Math.max(0, get() + by));
    shown.textContent = String(get());
    const next = $("hit").querySelector(".choose .next .name");
    if (next?.textContent.startsWith("That is")) next.textContent = `That is ${get()}`;
  };
  return el("p", { class: "steps" },
    el("button", { type: "button", class: "strip key", "aria-label": "One less", onclick: () => step(-1) }, "−"), shown,
    el("button", { type: "button", class: "strip key", "aria-label": "One more", onclick: () => step(1) }, "+"));
}

// The answer comes to the eye, unless the hand is busy further down, counting.
let counting = false;
document.addEventListener("pointerdown", (event) => (counting = Boolean(event.target.closest("form.count"))), true);

function drawHit({ signal, word, name, code, quiet, standing, reason, kept, choices = [], list }) {
  const hit = $("hit");
  drawn = "";
  if (!counting) scrollTo({ top: 0 });
  hit.dataset.signal = signal;
  if (standing) hit.dataset.standing = standing;
  else delete hit.dataset.standing;
  const title = lettered(name ?? "");
  const line = el("p", { class: "name" });
  line.append(...title.childNodes);
  hit.replaceChildren(
    el("p", { class: "say" }, mark(signal), el("span", { class: "marker" }, word)),
    ...(name ? [line] : []),
    ...(code ? [el("p", { class: "stamp" }, el("span", { class: "nb" }, spell(code)), " ", el("span", { class: "quiet" }, quiet ?? ""))] : []),
    ...(reason ? [el("p", { class: "reason" }, el("b", {}, reason), kept ? ` ${kept}` : "")] : []),
    ...choices,
    ...(list ? [list] : []),
  );
}

function drawKept(id) {
  showing = id;
  const entry = entryOf(id);
  if (entry && !state.asking && !entry.undone) {
    drawHit({ signal: "kept", word: "Kept", name: nameOf(entry), code: entry.code, reason: "On this device; it is sent as soon as the shop answers." });
  }
}

const hint = (word, reason) => state.asking || drawHit({ signal: "none", word, reason });

function warn(name, reason) {
  drawHit({ signal: "look", word: "Look", name, reason });
  sound("look");
  say(`${name}. ${reason}`);
}

function say(text, urgent = false) {
  $(urgent ? "urgent" : "polite").textContent = text;
}

function drawLast() {
  $("last").replaceChildren(...log.read().map((entry) => {
    const mine = entry.undone ? "undone" : entry.signal;
    const end = entry.counted !== null ? `${entry.counted} counted` : spell(itemOf(entry.code)?.code ?? entry.code.trim().slice(0, 20));
    return el("li", { class: "strip plain", "data-uid": entry.id, "data-signal": mine, "data-undone": entry.undone },
      mark(mine), lettered(nameOf(entry)), el("span", { class: "code end" }, el("span", { class: "nb" }, end)),
      entry.undone ? el("span", { class: "undone" }, "undone")
        : el("button", { type: "button", class: "act", "aria-label": `Undo ${nameOf(entry)}`, onclick: () => undo(entry.id) }, "Undo"));
  }));
}

function drawRun({ done, total, words, still }) {
  if (!$("done")) return;
  $("done").textContent = done;
  $("words").textContent = words;
  $("still").textContent = still;
  document.querySelector("#run .gates")?.remove();
  if (total && total <= 100) $("still").before(gates(done, total));
}

// ---- the bar, the heading, the switch -------------------------------------------------------------------------------

const panel = panels({
  box: $("panel"),
  last: () => {
    const entry = lastEntry();
    return entry && { id: entry.id, code: entry.code, name: nameOf(entry) };
  },
  onSay: (entry, said, name) => scan({ code: entry.code, action: "inspect", ...said }, { name }),
  onChannel: (channel, said) => scan({ code: `CH.${channel}`, action: "inspect", ...said }, { name: `Channel ${channel}` }),
  onArm: (symptom) => arm({ kind: "suspect", symptom }),
  onSwap: swap,
});

async function swap(entry) {
  scan({ code: entry.code, action: "inspect", condition: "suspect", symptom: "dead" }, { quiet: true });
  arm({ kind: "swap", dead: entry.code });
  let found = { spare: null, why: "There is no signal to look for a spare: scan any that fits." };
  try {
    found = await (await fetch(`${kit.spare}?${new URLSearchParams({ code: entry.code, show: state.show })}`, { credentials: "same-origin" })).json();
  } catch {
    // the sentence above stands
  }
  if (state.mode?.kind !== "swap") return;
  const { spare } = found;
  drawHit(spare
    ? { signal: "ask", word: "Swap", name: spare.name, code: spare.code, standing: spare.standing, quiet: spare.says, reason: `${entry.name} is dead. The nearest spare is ${spare.where}: scan it.`,
        choices: [choose(["It is in", () => read(spare.code), "next"], ["Leave it", () => (arm(null), redraw())])] }
    : { signal: "ask", word: "Swap", name: entry.name, code: entry.code, reason: `${found.why} Scan whatever takes its place.`, choices: [choose(["Leave it", () => (arm(null), redraw())])] });
  say(spare ? `The nearest spare is ${spare.name}, ${spell(spare.code)}, ${spare.where}.` : found.why);
}

const turnForm = document.querySelector(".way form");
turnForm?.addEventListener("submit", (event) => {
  event.preventDefault();
  turn(WAYS[(WAYS.indexOf(state.way) + 1) % WAYS.length]);
  field.focus();
});
$("undo").addEventListener("submit", (event) => {
  event.preventDefault();
  undo();
});
$("hums").addEventListener("click", (event) => {
  event.preventDefault();
  panel.toggle();
  field.focus();
});
$("type").addEventListener("click", (event) => {
  event.preventDefault();
  const typing = field.inputMode !== "text";
  field.blur();
  field.inputMode = typing ? "text" : "none";
  form.classList.toggle("typing", typing);
  field.focus();
});

const drawSwitch = () => {
  $("sound").setAttribute("aria-pressed", String(soundIsOn()));
  $("sound").firstElementChild.textContent = soundIsOn() ? "Sound on" : "Sound off";
};
$("sound").hidden = false;
$("sound").addEventListener("click", () => {
  turnSound(!soundIsOn());
  drawSwitch();
  sound("fine");
});

form.classList.add("has-script");
field.inputMode = "none"; // a scanner types; "Type it" brings the keyboard up
drawSwitch();
drawLast();
typedReader(form, field).start(read);
queue.releaseAll();
learn().then(() => {
  drawLast();
  if (kit.guessed) followTheClock();
});
setInterval(followTheClock, 30000);
