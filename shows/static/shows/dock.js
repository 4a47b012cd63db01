// The dock: readers feed texts in, scans go out through the queue, answers come back as strips, sound and a shake of the hand.
import { questions } from "./dock-ask.js";
import { bags, saidOf } from "./dock-bag.js";
import { cellChoices } from "./dock-cells.js";
import { phantomChoices } from "./dock-phantom.js";
import { counting, tally } from "./dock-count.js";
import { $, DAYS_4, WAYS, WORD, addEntry, amend, entryOf, forget, itemOf, kit, known, lastEntry, nameOf, remember, state, token } from "./dock-desk.js";
import { spell } from "./dock-draw.js";
import { early } from "./dock-early.js";
import { choose, drawHint, drawHit, drawnKey, eyeUp, say, warn } from "./dock-hit.js";
import * as heart from "./dock-heart.js";
import { learn, look, oldCount } from "./dock-known.js";
import { drawLast } from "./dock-last.js";
import { panels } from "./dock-panel.js";
import { deviceName, localStore, mirror, nextSeq, openQueue, uuid4 } from "./dock-queue.js";
import { readText, typedReader } from "./dock-reader.js";
import { sound, soundIsOn, turnSound } from "./dock-sound.js";
import { drawWaiting } from "./dock-waits.js";
import { asChosen, followTheClock, goTo, turn } from "./dock-way.js";
import { keepThePage } from "./dock-keep.js";

const form = $("scan");
const field = $("code");

const ANSWER_MS = 700; // then the hand is told what the shop would say, as far as it is known here
const PATIENCE_MS = 1500; // then, where nothing is known here, why no answer comes
const GREETING_MS = 8000; // what waits goes after it
const UNSEEN_MS = 350; // what is scanned so soon after a stop was scanned before anybody saw it
const FOREIGN = "Not one of our labels";
const RANK = { fine: 0, look: 1, stop: 2 };

const RELEARN_MS = 300000; // others scan too: what is known by heart grows old

let showing = null; // the scan whose answer the strip shows
let stopped = null; // the last stop that was shown, and when

// ---- scanning ----

// A network again: a new token, the time there, and whether the shop still knows what it was told.
async function hello() {
  const began = Date.now();
  const last = await queue.lastSent();
  const signal = AbortSignal.timeout(GREETING_MS);
  const answer = await fetch(`${kit.hello}?${new URLSearchParams({ last })}`, { credentials: "same-origin", redirect: "error", signal });
  if (!answer.ok) return;
  const { token: newer, now: theirs, knows } = await answer.json();
  localStorage.setItem("kg.offset", String(Date.parse(theirs) - (began + Date.now()) / 2));
  if (last && !knows) await queue.sendAgain();
  document.querySelectorAll("[name=csrfmiddlewaretoken]").forEach((held) => (held.value = newer));
}

const queue = openQueue({
  url: kit.api,
  device: deviceName(),
  token,
  refresh: hello,
  store: localStore(`kg.queue.${kit.person}`),
  second: mirror(`kg.queue.${kit.person}`),
  onAnswers: answered,
  onState(now) {
    if (now.state === "no signal" || now.state === "no answer") oldCount();
    drawWaiting(now, carry);
  },
});

// Keep a scan: on the list at once, before the eye at once, in the queue at once; the answer takes its place when it comes.
function scan(body, { held = false, name = "", quiet = false, shown = !held } = {}) {
  const full = {
    id: uuid4(),
    seq: nextSeq(),
    show: state.show || null,
    happened_at: new Date().toISOString(),
    ...body,
  };
  if (!quiet) {
    const entry = { id: full.id, at: Date.now(), code: full.code, action: full.action, name, signal: "kept", counted: full.counted ?? null, said: saidOf(full) };
    addEntry(entry);
    drawLast(undo);
    if (shown && !isBusy() && !isUnseen()) {
      showing = full.id;
      redraw();
    }
    wonder(full.id, held);
  }
  queue.add(full, { held });
  if (full.action === "undo") heart.putBack(full.undoes);
  else heart.heard(full);
  if (!held && queue.isDown()) suppose(full.id);
  return full;
}

// No answer for a while: say what the shop would, as far as it is known here, or where the scan is.
function wonder(id, held = false) {
  if (!held) setTimeout(() => suppose(id), ANSWER_MS);
  setTimeout(() => {
    if (!queue.has(id) || entryOf(id)?.supposed || isBusy() || isUnseen()) return;
    amend(id, { reason: "On this device; it is sent as soon as the shop answers." });
    showing = id;
    redraw();
  }, PATIENCE_MS);
}

// Say it by heart. The scan carries what was said, so that the shop can tell when its own word is graver.
function suppose(id) {
  const verdict = heart.verdictOf(id);
  const entry = entryOf(id);
  if (!verdict || !entry || entry.supposed || entry.undone || !queue.has(id)) return;
  queue.amend(id, { said: verdict.signal });
  const foreign = verdict.foreign && { foreign: true, name: FOREIGN };
  amend(id, { signal: verdict.signal, reason: verdict.reason, outcome: verdict.outcome, supposed: verdict.signal, ...foreign });
  drawLast(undo);
  sound(verdict.signal);
  if (isBusy() || isUnseen()) return;
  showing = id;
  if (verdict.signal === "stop") stopped = { id, at: Date.now() };
  redraw();
  say(`${verdict.signal}. ${nameOf(entryOf(id))}. ${verdict.reason}`, verdict.signal === "stop");
}

function hear(text) {
  eyeUp();
  return first.takes(text, readText(text)) ? undefined : read(text);
}

// What was kept before anything was known goes as it was kept, unless it turns out to want a question, a bag or another way.
function decide(text, made) {
  if (!made) return read(text);
  if (entryOf(made.id)?.undone) return queue.release(made.id);
  const item = itemOf(text);
  const plain = !state.mode && !item?.bag && made.action === state.way && made.show === (state.show || null);
  if (!plain || ask.takes(readText(text), item)) {
    queue.drop(made.id);
    forget(made.id);
    drawLast(undo);
    return plain ? undefined : read(text);
  }
  ask.settle();
  amend(made.id, { name: item?.name ?? "" });
  if (item?.inside) ask.inside(made, item);
  else queue.release(made.id);
  return undefined;
}

function read(text) {
  eyeUp();
  const what = readText(text);
  const item = itemOf(text);
  if (ask.takes(what, item)) return undefined;
  ask.settle();
  if (what.kind === "command") return obey(what.word);
  if (what.kind === "show" && WAYS.includes(what.way)) {
    arm(null);
    return goTo(what.show, what.way);
  }
  if (what.kind === "count") return askCount(what.line);
  if (what.kind === "channel") return panel.channel(what.channel);
  const mode = state.mode;
  const code = text.slice(0, 4096);
  if (mode?.kind === "swap") {
    if (what.code === readText(mode.dead).code) return warn("That is the dead one again", "Scan the spare that takes its place.");
    arm(null);
    return scan({ code, action: "out", replaces: mode.dead }, { name: item?.name });
  }
  if (mode?.kind === "suspect") {
    arm(null);
    const made = scan({ code, action: "inspect", condition: "suspect", symptom: mode.symptom ?? "other" }, { held: !mode.symptom, name: item?.name });
    if (!mode.symptom) askSymptom(made, item);
    return made;
  }
  if (item?.bag) return bag.scanned(item);
  if (mode?.kind === "bag") return scan(bag.shape(code, mode.bag), { name: item?.name });
  return goes(code, item);
}

// A thing goes the way that is shown; a case with things in it asks for its count first.
function goes(code, item) {
  const asks = Boolean(item?.inside);
  const made = scan({ code, action: state.way }, { held: asks, name: item?.name });
  if (asks) ask.inside(made, item);
  return made;
}

function askSymptom(made, item) {
  ask.hold({ id: made.id });
  panel.symptoms({
    name: item?.name ?? spell(made.code),
    say: (said) => {
      panel.close();
      ask.answer(made.id, said);
    },
  });
}

function obey(word) {
  if (word === "OUT" || word === "TRUCK" || word === "BACK") {
    arm(null);
    if (!state.show && word !== "BACK") location.assign(kit.shows);
    else turn(word.toLowerCase());
  } else if (word === "UNDO") undo();
  else if (word === "SUSPECT") arm({ kind: "suspect" });
  else if (word === "BAG") bag.card();
  else if (word === "CLOSE") close();
  else warn("Not a card of ours", "That command is not one the dock knows.");
}

function arm(mode) {
  state.mode = mode;
  const into = mode?.bag ? `Into ${mode.bag.name}: scan what goes in` : "Bench bag: scan its label, or what goes in";
  const words = { suspect: "Suspect: scan it", bag: into, swap: "Swap: scan the spare" }[mode?.kind];
  $("armed").hidden = !words;
  $("armed-words").textContent = words ?? "";
  if (words) say(words);
}

function close() {
  panel.close();
  if (state.mode?.kind === "bag") bag.close();
  else {
    arm(null);
    redraw();
  }
}

// ---- undo ----

function undo(id) {
  const entry = id ? entryOf(id) : lastEntry();
  if (!entry || entry.undone) return warn("Nothing to undo", "This device has scanned nothing that could be taken back.");
  ask.settle();
  amend(entry.id, { undone: true });
  scan({ code: entry.code, action: "undo", undoes: entry.id }, { quiet: true });
  tally(entry, -1);
  drawLast(undo);
  drawUndone(entry, "Taken back. Scan it again if that was a slip.");
  say(`Undone: ${nameOf(entry)}.`);
  return undefined;
}

const drawUndone = (entry, reason) => drawHit({ signal: "undone", word: "Undone", name: nameOf(entry), code: entry.code, reason, as: `undone ${entry.id}` });

// ---- answers ----

function answered(results, bodies) {
  const codes = [];
  let worst = null;
  results.forEach((result, at) => {
    const body = bodies[at];
    const code = readText(result.code || body.code);
    if (code.kind === "code") codes.push(code.code);
    if (body.action === "undo") {
      if (result.signal !== "fine") worst ??= { result, body };
      else if (drawnKey() === `undone ${body.undoes}`) drawUndone(entryOf(body.undoes) ?? body, result.reason);
      return;
    }
    const foreign = result.outcome === "unknown" && !result.code && code.kind === "code";
    if (foreign) amend(body.id, { foreign, name: FOREIGN });
    const said = entryOf(body.id)?.supposed;
    heart.settled(body.id);
    if (result.outcome === "refused" || result.outcome === "unknown") {
      heart.putBack(body.id);
      if (!entryOf(body.id)?.undone) tally(body, -1);
    }
    const otherwise = said && RANK[result.signal] > RANK[said];
    const reason = otherwise ? `Without signal this phone said ${said}. The shop: ${result.reason}` : result.reason;
    amend(body.id, { signal: result.signal, reason, outcome: result.outcome, code: result.code || body.code, supposed: null });
    if (said && !otherwise) return; // the hand was told already
    if (!worst || RANK[result.signal] >= RANK[worst.result.signal]) worst = { result, body };
  });
  drawLast(undo);
  if (worst) {
    sound(worst.result.signal);
    if (!isBusy() && !hidesAStop(worst)) {
      showing = worst.body.id;
      if (worst.body.action === "undo") warn("Look", worst.result.reason);
      else redraw();
      if (worst.result.signal === "stop") stopped = { id: worst.body.id, at: Date.now() };
    }
    say(`${worst.result.signal}. ${nameOf(entryOf(worst.body.id) ?? worst.body)}. ${worst.result.reason ?? ""}`, worst.result.signal === "stop");
  }
  look([...new Set(codes)], () => {
    redraw();
    drawLast(undo);
  });
}

// A question stands in the strip: answers wait in the list below.
const isBusy = () => ask.isOpen() || state.mode?.kind === "swap";

// What was scanned before a stop could be seen must not take its place: the hand would never learn of it.
function stopStands() {
  const entry = stopped?.id === showing ? entryOf(showing) : undefined;
  return Boolean(entry) && !entry.settled && !entry.undone;
}
const isUnseen = () => stopStands() && Date.now() < stopped.at + UNSEEN_MS;
const hidesAStop = ({ result, body }) => result.signal !== "stop" && stopStands() && Date.parse(body.happened_at) < stopped.at + UNSEEN_MS;

const short = (text) => (text.length > 40 ? `${text.slice(0, 39)}…` : text);

function redraw() {
  const entry = entryOf(showing);
  if (!entry || isBusy() || entry.undone) return;
  if (entry.at < state.turnedAt && !RANK[entry.signal]) return; // the way was turned since
  const item = itemOf(entry.code);
  const inside = item?.inside;
  const says = JSON.stringify([entry, item?.name, item?.code, item?.standing, item?.says, inside, item?.cells, item?.phantom]);
  if (says === drawnKey()) return;
  drawHit({
    signal: entry.signal,
    word: { fine: "Fine", look: "Look", stop: "Stop", kept: "Kept" }[entry.signal],
    name: item || entry.name ? nameOf(entry) : "", // what nobody knows has a code alone
    code: entry.foreign || entry.code.startsWith("COUNT.") ? "" : (item?.code ?? entry.code.slice(0, 40)),
    standing: item?.standing,
    quiet: entry.foreign ? short(entry.code.trim()) : entry.counted !== null ? countedOf(entry, inside) : item?.says,
    reason: entry.reason || (entry.signal === "kept" ? (queue.isDown() ? "On this device, not sent yet." : "Taken; asking the shop.") : ""),
    as: says,
    kept: [entry.signal === "stop" ? "Your scan is kept either way." : "", entry.supposed ? "Not sent yet." : ""].join(" ").trim(),
    choices: [...choicesFor(entry, item), ...phantomFor(entry, item)],
  });
}

// What was said to be missing is in the case no more: it was, when it was counted.
function countedOf({ counted, short = 0 }, inside) {
  const all = inside && inside + short;
  return `${counted}${all ? ` of ${all}` : ""} counted${all > counted ? `, ${all - counted} short` : ""}`;
}

function choicesFor(entry, item) {
  if (entry.settled) return [];
  const leave = () => (amend(entry.id, { settled: true }), redraw());
  const counts = entry.outcome === "accepted" || entry.outcome === "contradiction";
  if (entry.signal === "stop" && counts && entry.action === "out") {
    return [choose([`Into ${bag.last()?.name ?? "the bench bag"}`, () => intoBag(entry), "next"], ["It goes anyway", leave])];
  }
  if (entry.foreign) return [choose(["Type it again", () => (leave(), typing(true)), "next"], ["It is a stray", () => stray(entry)])];
  if (entry.signal === "stop" && !item && entry.outcome === "unknown") return [choose(["It is a stray", () => stray(entry)], ["A misread", () => undo(entry.id)])];
  if (entry.signal === "look" && entry.action === "out" && entry.counted === null) return [choose(item?.minded ? ["It goes anyway", leave] : ["Keep it here", leave, "next"], ["Put it back", () => undo(entry.id)])];
  if (entry.action === "back" && counts && item?.cells) return cellChoices(item, (said) => (amend(entry.id, { settled: true, reason: said }), redraw()));
  return [];
}

// Beside whatever else is asked, and still there once that is settled, so that it can be taken back.
function phantomFor(entry, item) {
  if (!item?.phantom || entry.action !== "out" || !["fine", "look"].includes(entry.signal)) return [];
  return phantomChoices(item, (said) => (amend(entry.id, { settled: true, reason: said }), redraw(), say(said)));
}

// It does not go: what was scanned is taken back, and it is suspect, in the last bag or in the one whose label is scanned now.
function intoBag(entry) {
  const into = bag.last();
  amend(entry.id, { undone: true });
  scan({ code: entry.code, action: "undo", undoes: entry.id }, { quiet: true });
  stopped = null;
  const made = scan(bag.shape(entry.code, into), { held: !into, name: nameOf(entry) });
  if (!into) ask.whichBag(made, nameOf(entry), bag.learn);
}

async function stray(entry) {
  try {
    const { noted } = await import("./dock-stray.js"); // only where there is signal
    amend(entry.id, { settled: true, reason: await noted(entry) });
    redraw();
  } catch {
    warn("Not kept yet", "There is no signal to note a stray. Put it aside and tap again later.");
  }
}

// ---- the parts ----

const first = early({
  known,
  decide,
  look,
  // held until it is decided, so that closing the page loses nothing
  keep: (text) => scan({ code: text.slice(0, 4096), action: state.way }, { held: true, shown: true }),
});

const ask = questions({
  known,
  minds(id) {
    const { signal, reason } = heart.verdictOf(id) ?? {};
    return RANK[signal] ? reason : "";
  },
  redraw,
  release(id, changes) {
    const body = queue.bodies().find((one) => one.id === id);
    if (body) heart.heard({ ...body, ...changes });
    const released = queue.release(id, changes);
    if (queue.isDown()) suppose(id);
    return released;
  },
  answered(id, changes) {
    amend(id, { counted: changes.counted ?? null, short: changes.missing?.length, said: saidOf(changes) });
    drawLast(undo);
    showing = id;
    redraw();
    wonder(id);
  },
});

const askCount = counting({
  ask,
  scan,
  warn,
  way: () => state.way,
  hasShow: () => Boolean(state.show),
  nameOf: (line) => state.lines.get(line)?.name,
  focus: () => field.focus({ preventScroll: true }),
});

const bag = bags({
  last: kit.lastBag ? { code: kit.lastBag, name: kit.lastBagName } : null,
  arm,
  hint: drawHint,
  mode: () => state.mode,
  word: () => WORD[state.way],
  itself: (one) => goes(one.code, known(one.code) ?? one),
  kept: (one) => remember("dock_bag", one.code, DAYS_4),
});

// ---- the bar, the heading, the switch ----

const panel = panels({
  box: $("panel"),
  last: () => {
    const entry = lastEntry();
    return entry && { id: entry.id, code: entry.code, name: nameOf(entry) };
  },
  onSay: (entry, said, name) => scan({ code: entry.code, action: "inspect", ...said }, { name }),
  onChannel: (channel, said) => scan({ code: `CH.${channel}`, action: "inspect", ...said }, { name: `Channel ${channel}` }),
  onArm: (symptom) => arm({ kind: "suspect", symptom }),
  onSwap: async (entry) => (await import("./dock-swap.js")).swap(entry, { arm, read, scan, leave: () => (arm(null), redraw()) }),
});

const turnForm = document.querySelector(".way form");
turnForm?.addEventListener("submit", (event) => {
  event.preventDefault();
  ask.settle();
  arm(null);
  turn(WAYS[(WAYS.indexOf(state.way) + 1) % WAYS.length]);
  field.focus();
});
$("disarm").addEventListener("click", (event) => {
  event.preventDefault();
  close();
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
  typing(field.inputMode !== "text");
});

// The keyboard comes up, or stays down for a scanner.
function typing(on) {
  field.blur();
  field.inputMode = on ? "text" : "none";
  form.classList.toggle("typing", on);
  field.focus();
}

// No network all night: what waits is carried out by hand.
async function carry() {
  const { offer } = await import("./dock-carry.js");
  offer(panel, { device: deviceName(), offset: Number(localStorage.getItem("kg.offset") ?? 0), scans: queue.bodies() });
}

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

// The camera and its decoder are fetched when somebody opens it, not before.
let eye = null;
const eyeKey = $("camera");
eyeKey.hidden = !navigator.mediaDevices?.getUserMedia;
eyeKey.addEventListener("click", async () => {
  if (eye?.isOpen()) return eye.close();
  try {
    const { camera } = await import("./dock-camera.js");
    eye ??= camera(hear);
    await eye.open();
  } catch {
    warn("No camera", "Its part of the page is not on this phone yet: open the camera once where there is signal.");
  }
  return undefined;
});

form.classList.add("has-script");
field.inputMode = "none"; // a scanner types; "Type it" brings the keyboard up
drawSwitch();
drawLast(undo);
const isOtherwise = asChosen();
if (kit.mode === "bag" && kit.bag) bag.open({ code: kit.bag, name: kit.bagName });
else if (kit.mode) arm({ kind: kit.mode });
typedReader(form, field).start(hear);
queue.recover().then(() => queue.releaseAll());
hello().catch(oldCount); // says who is here, what time it is, and whether the shop remembers
addEventListener("offline", oldCount);
addEventListener("online", () => look([]));
// By heart, and on from there: what was answered since, and what waits to be sent, has happened all the same.
const ours = (theirs) => theirs - (localStorage.getItem("kg.offset") ?? 0);
async function relearn() {
  heart.again([...(await queue.sentSince(ours(await learn()))), ...queue.bodies()]);
}
const learnt = relearn();
state.count = async () => {
  try {
    await learnt;
    return await (await import("./dock-run.js")).countByHeart(queue, ours(state.madeAt));
  } catch {
    return null;
  }
};
learnt.then(() => {
  // wanted where there is no signal, and then too late to be fetched; a page without its worker has them from now on
  Promise.allSettled([import("./dock-carry.js"), import("./dock-run.js"), import("./dock-swap.js")]);
  if (isOtherwise) turn(state.way, { chosen: false }); // the times of that show are known now
  first.learnt();
  if (queue.isDown()) queue.bodies().forEach(({ id }) => suppose(id));
  drawLast(undo);
  if (kit.guessed) followTheClock();
});
setInterval(followTheClock, 30000);
setInterval(() => document.visibilityState === "visible" && !queue.isDown() && relearn(), RELEARN_MS);
keepThePage({ worker: kit.worker, isIdle: () => !queue.bodies().length });
