// At the bench: one field takes scans, readings and words; answers come as parts of the page, a sound and a sentence.
import { play, soundIsOn, turnSound } from "../company/sound.js";
import { typedReader } from "../company/typed-reader.js";

const SOUNDS = {
  pass: { notes: [[1320, 0, 0.09]], shape: "sine", shake: [40] },
  watch: { notes: [[880, 0, 0.11], [1100, 0.15, 0.16]], shape: "triangle", shake: [70, 60, 70] },
  fail: { notes: [[196, 0, 0.2], [147, 0.27, 0.45]], shape: "square", shake: [260, 90, 420], loud: 0.5 },
  unknown: { notes: [[520, 0, 0.1], [520, 0.16, 0.1], [520, 0.32, 0.1]], shape: "triangle", shake: [60, 50, 60, 50, 60] },
  scan: { notes: [[990, 0, 0.05]], shape: "sine", shake: [20] },
  undo: { notes: [[660, 0, 0.08], [440, 0.1, 0.12]], shape: "sine", shake: [30, 30, 30] },
};
// What may be typed instead of scanning a printed label.
const TYPED = { good: "PASS", pass: "PASS", bad: "FAIL", fail: "FAIL", again: "AGAIN", undo: "UNDO", back: "UNDO", b: "UNDO", next: "NEXT", cell: "CELL", flexed: "FLEXED", still: "STILL", "not flexed": "STILL", run: "RUN", end: "END" };
const READING = /^(>?\s*(\d+([.,]\d*)?|[.,]\d+|\d+[kmgr]\d+)\s*[mkMG]?(\s*(ohms?|Ω))?|[-−]\d+([.,]\d*)?)$/i;
const OVER = /^(o|ol|o\.l\.?|0\.?l|over( range)?|out of range|open|inf(inite|inity)?|∞)$/i;
const CHANNELS = /^r?\d{1,3}(\.\d)?([\s,;-]+r?\d{1,3}(\.\d)?)*$/i;
const YES = /^(s|y|yes|beep|test\.yes)$/i;
const NO = /^(n|no|silent|no beep|test\.no)$/i;
// A code may be glued onto what stood in a field: the scanner types wherever the focus is.
const GLUED = /^(.*?)(https?:\/\/\S+|test[.:,]\w+|[0-9a-z]{4}-[0-9a-z]{4}|(?=[0-9]*[a-z])[0-9a-z]{8})$/i;
const CODE_LONG = 8; // a code has eight characters; no meter shows so many figures

const $ = (id) => document.getElementById(id);
const form = $("scan");
const field = $("code");
const asksFor = form.querySelector("label[for=code]");
const PLAIN_LABEL = asksFor.textContent;
const token = () => form.elements.csrfmiddlewaretoken.value;

// ---- talking to the shop --------------------------------------------------------------------------------------------

let last = Promise.resolve();

// One thing after another, in the order of the scans: a reading typed before its lead is drawn waits for it.
function inTurn(job) {
  last = last.then(job).catch(() => trouble("The page could not show the answer. Load it again."));
  return last;
}

async function post(url, body) {
  clearTimeout(waiting);
  waiting = 0;
  await saving; // what was read last is kept before anything else is asked
  body.set("csrfmiddlewaretoken", token());
  body.set("on", form.elements.on.value);
  if (!body.has("run")) body.set("run", form.elements.run.value);
  let answer;
  try {
    answer = await fetch(url, { method: "POST", body, credentials: "same-origin", headers: { "X-Fragments": "sitting", Accept: "application/json" } });
  } catch {
    return trouble("No answer from the shop’s computer: nothing is written. Scan or enter it again.");
  }
  if (!answer.headers.get("Content-Type")?.includes("json")) {
    if (answer.redirected) return location.assign(answer.url); // signed out meanwhile
    return trouble("The shop’s computer is busy: nothing is written. Scan or enter it again.");
  }
  return take(await answer.json());
}

function take(answer) {
  if (answer.leave) return location.assign(answer.leave);
  for (const [part, html] of Object.entries(answer.parts)) $(part).innerHTML = html;
  form.elements.on.value = answer.on;
  form.elements.run.value = answer.run ? "yes" : "";
  if (answer.url) history.replaceState(null, "", answer.url);
  order = [];
  play(SOUNDS[answer.sound]);
  say(answer.say, answer.sound === "fail" || answer.sound === "unknown");
  point();
  const wrong = document.querySelector("#now .wrong input");
  if (wrong) {
    wrong.focus();
    wrong.select();
  }
  else reader.focus();
  if (matchMedia("(max-width: 860px)").matches) scrollTo({ top: 0 });
  return undefined;
}

function trouble(words) {
  const line = document.createElement("p");
  line.className = "error";
  line.setAttribute("role", "alert");
  line.textContent = words;
  $("now").querySelector(":scope > .error")?.remove();
  $("now").prepend(line);
  play(SOUNDS.unknown);
}

function say(words, urgent = false) {
  $(urgent ? "urgent" : "polite").textContent = words ?? "";
}

// ---- the readings of what is on the bench ---------------------------------------------------------------------------

// What is folded away is not asked one by one: the tick over it answers for all of it.
const rows = () => [...document.querySelectorAll("#readings .pair, #readings .step")].filter((row) => !row.closest("details:not([open])"));
const pickOf = (row) => row.querySelector("input:is([type=radio], [type=checkbox])");
const told = (row) => [...row.closest("fieldset").querySelectorAll("details .pair")].some(filled);
const filled = (row) => {
  const pick = pickOf(row);
  if (!pick) return Boolean(row.querySelector("input").value.trim());
  return Boolean(row.querySelector("input:checked")) || (pick.type === "checkbox" && told(row));
};
const current = () => rows().find((row) => !filled(row) && !row.dataset.skipped);
const nameOf = (row) => row.querySelector(".pins, .what-to-do").textContent.trim();

// Show which one is asked now, and say so over the field.
function point() {
  const at = current();
  for (const row of rows()) row.toggleAttribute("data-now", row === at);
  const left = Boolean(document.querySelector("#verdict"));
  asksFor.textContent = at ? `${nameOf(at)}${howTo(at)}` : left ? "Enter for the verdict, or scan" : PLAIN_LABEL;
  at?.scrollIntoView({ block: "nearest" });
}

// What to type for the one that is asked.
function howTo(row) {
  const kind = row.querySelector("[data-answer]").dataset.answer;
  if (kind === "all") return "? yes or o; no to answer them one by one";
  if (kind === "yes") return ": yes or no, or scan";
  if (kind === "beep") return ": s for a beep, o for none, or scan";
  if (kind === "through") return ": s, or the channels that failed, or scan";
  return ": read it, or scan";
}

function tick(row, value) {
  const radio = row.querySelector(`input[type=radio][value="${value}"]`);
  if (!radio) return false;
  radio.checked = true;
  return true;
}

// Whether a text was an answer to what is asked now.
function answers(text) {
  const row = current();
  const isList = row && pickOf(row)?.dataset.answer === "through" && CHANNELS.test(text);
  if (!row || (text.length >= CODE_LONG && !isList)) return isWord(text) && Boolean(row) && answered(row, text);
  return answered(row, text);
}

const isWord = (text) => YES.test(text) || NO.test(text);

function answered(row, text) {
  const kind = row.querySelector("[data-answer]").dataset.answer;
  let done = false;
  if (kind === "through") {
    // a lamp tester's way: "s", or the numbers of the channels that failed
    if (!YES.test(text) && !CHANNELS.test(text)) return false;
    if (!YES.test(text)) $("failed").value = text.trim();
    done = pickOf(row).checked = true;
  } else if (kind === "all") {
    // the statement is true, or its pairs are asked one by one
    if (/^(n|no|test\.no|s|beep)$/i.test(text)) {
      const pairs = row.parentElement.querySelector("details");
      if (!pairs) return false;
      pairs.open = done = true;
      row.dataset.skipped = "yes";
    } else if (OVER.test(text) || YES.test(text) || NO.test(text)) done = pickOf(row).checked = true;
  } else if (kind === "beep" || kind === "yes") {
    const [yes, no] = kind === "beep" ? ["beep", "no beep"] : ["yes", "no"];
    if (YES.test(text)) done = tick(row, yes);
    else if (NO.test(text) || OVER.test(text)) done = tick(row, no);
    else if (/^(d|drops out)$/i.test(text)) done = tick(row, "drops out");
  } else {
    const input = row.querySelector("input");
    const beeps = kind === "ohms" && isWord(text);
    if (OVER.test(text) && (kind === "ohms" || input.dataset.over)) input.value = "OL";
    else if (beeps) input.value = YES.test(text) ? "beep" : "no beep";
    else if (READING.test(text)) input.value = text.trim();
    done = Boolean(input.value);
  }
  if (!done) return false;
  order.push(row);
  play(SOUNDS.scan);
  point();
  keepSoon();
  const next = current();
  say(`${nameOf(row)}: ${text}. ${next ? `Next: ${nameOf(next)}.` : "Press Enter for the verdict."}`);
  return true;
}

function skip() {
  if (!$("readings")) return undefined;
  const row = current();
  if (row) {
    row.dataset.skipped = "yes";
    point();
    const next = current();
    return say(next ? `Left out. Next: ${nameOf(next)}.` : "Press Enter for the verdict.");
  }
  // asked for here and now, in its turn: a click would stand behind the scan that was typed after it, and the lead be gone
  const ask = $("verdict");
  return ask ? post(ask.form.action, new FormData(ask.form, ask)) : undefined;
}

// ---- what is half read is kept by the shop's computer ----------------------------------------------------------------

let saving = Promise.resolve();
let waiting = 0;
let order = []; // the answers given from the scan field, the last one last

const KEPT = /^((p|f|s|rest):|through$|failed$|note$|as$|flexed$)/;
const half = () => [...new FormData($("readings"))].filter(([name, value]) => KEPT.test(name) && value);

function keepHalf() {
  clearTimeout(waiting);
  waiting = 0;
  const now = $("readings");
  if (!now) return;
  const body = new FormData();
  for (const [name, value] of half()) body.set(name, value);
  body.set("csrfmiddlewaretoken", token());
  body.set("code", now.elements.code.value);
  body.set("keep", "yes");
  const sent = () => fetch(now.getAttribute("action"), { method: "POST", body, credentials: "same-origin", keepalive: true }).catch(() => {});
  saving = saving.then(sent);
}

function keepSoon() {
  clearTimeout(waiting);
  waiting = setTimeout(keepHalf, 300);
}

// Left with something read a moment ago: it is kept all the same.
addEventListener("pagehide", () => {
  if (!waiting || !$("readings")) return;
  keepHalf();
});

// One step back: the answer given last is asked again.
function stepBack() {
  const there = rows().filter((row) => filled(row) || row.dataset.skipped);
  const last = order.filter((row) => there.includes(row)).pop() ?? there.pop();
  if (!last) return false;
  order = order.filter((row) => row !== last);
  delete last.dataset.skipped;
  for (const input of last.querySelectorAll("input")) {
    if (input.type === "radio" || input.type === "checkbox") input.checked = false;
    else input.value = "";
  }
  if (pickOf(last)?.dataset.answer === "through") $("failed").value = "";
  last.classList.remove("wrong");
  last.querySelector(".error")?.remove();
  play(SOUNDS.undo);
  point();
  keepSoon();
  say(`One back: ${nameOf(last)}.`);
  return true;
}

// ---- what is read ---------------------------------------------------------------------------------------------------

const read = (text) => inTurn(() => hear(text.trim()));

function hear(text) {
  if (answers(text.replace(/^test[.:,]\s*(yes|no)$/i, "$1"))) return undefined;
  const word = TYPED[text.toLowerCase()];
  const scanned = word ? `TEST.${word}` : text;
  if (/^test[.:,]\s*undo$/i.test(scanned) && $("readings") && stepBack()) return undefined;
  const body = new FormData();
  if ($("readings")) for (const [name, value] of half()) body.set(name, value);
  body.set("scan", scanned.slice(0, 4096));
  body.set("uid", crypto.randomUUID?.() ?? form.elements.uid.value);
  return post(form.action, body);
}

// Return [what was typed before, the scan] where a scan ends a field's text; null where none does.
function glued(text) {
  if (READING.test(text) || OVER.test(text)) return null;
  const found = GLUED.exec(text);
  if (found) return [found[1].trim(), found[2]];
  return /^test[.:,]/i.test(text) || /[/\\]/.test(text) ? ["", text] : null;
}

document.addEventListener("keydown", (event) => {
  const input = event.target.closest?.("#readings input:not([type=radio], [type=checkbox])");
  if (event.key !== "Enter" || !input) return;
  event.preventDefault();
  const text = input.value.trim();
  if (input.id === "failed" && (!text || CHANNELS.test(text))) {
    reader.focus();
    return;
  }
  const scanned = input.id === "note" ? null : glued(text);
  if (scanned) {
    input.value = scanned[0];
    read(scanned[1]);
    return;
  }
  if (input.id === "note") return;
  if (OVER.test(text)) input.value = "OL";
  else if (input.dataset.answer === "ohms" && isWord(text)) input.value = YES.test(text) ? "beep" : "no beep";
  const all = [...document.querySelectorAll("#readings input[data-answer]:not([type=checkbox])")];
  const next = all[all.indexOf(input) + 1];
  if (next) next.focus();
  else $("verdict")?.click();
  point();
});
document.addEventListener("input", (event) => event.target.closest?.("#readings") && keepSoon());
document.addEventListener("change", (event) => {
  const row = event.target.closest?.("#readings .pair, #readings .step");
  if (row) order.push(row);
  if (event.target.closest?.("#readings")) point();
});

// The page's own forms go the same way as scans; page.js then has nothing to guard.
document.addEventListener("submit", (event) => {
  const sent = event.target;
  if (sent === form || !sent.closest("#now, #last") || sent.elements.go) return;
  event.preventDefault();
  const body = new FormData(sent, event.submitter);
  inTurn(() => post(sent.action, body));
}, true);

// ---- start ----------------------------------------------------------------------------------------------------------

const drawSwitch = () => {
  $("sound").setAttribute("aria-pressed", String(soundIsOn()));
  $("sound").textContent = soundIsOn() ? "Sound on" : "Sound off";
};
$("sound").hidden = false;
$("sound").addEventListener("click", () => {
  turnSound(!soundIsOn());
  drawSwitch();
  play(SOUNDS.pass);
});
drawSwitch();
form.classList.add("has-script");
const reader = typedReader(form, field, { onEmpty: () => inTurn(skip) });
reader.start(read);
point();
