// A swap list worked by a scanner: scans and taps go to the shop, parts of the page, a sound and a sentence come back.
import { play, soundIsOn, turnSound } from "../company/sound.js";
import { typedReader } from "../company/typed-reader.js";

const SOUNDS = {
  fine: { notes: [[1320, 0, 0.09]], shape: "sine", shake: [40] },
  look: { notes: [[880, 0, 0.11], [660, 0.17, 0.16]], shape: "triangle", shake: [70, 60, 70] },
  stop: { notes: [[196, 0, 0.2], [196, 0.27, 0.2], [147, 0.54, 0.45]], shape: "square", shake: [260, 90, 260, 90, 420], loud: 0.5 },
  undo: { notes: [[660, 0, 0.08], [440, 0.1, 0.12]], shape: "sine", shake: [30, 30, 30] },
};
const $ = (id) => document.getElementById(id);
const form = $("scan");
const field = $("code");

let last = Promise.resolve();
const inTurn = (job) => (last = last.then(job).catch(() => trouble("The page could not show the answer. Load it again.")));

async function post(url, body) {
  let answer;
  try {
    answer = await fetch(url, { method: "POST", body, credentials: "same-origin", headers: { "X-Fragments": "swaps", Accept: "application/json" } });
  } catch {
    return trouble("No answer from the shop’s computer: nothing is written. Scan or tap it again.");
  }
  if (!answer.headers.get("Content-Type")?.includes("json")) {
    if (answer.redirected) return location.assign(answer.url); // signed out meanwhile
    return trouble("The shop’s computer is busy: nothing is written. Scan or tap it again.");
  }
  const { parts, say, sound, url: here, on } = await answer.json();
  for (const [part, html] of Object.entries(parts)) $(part).innerHTML = html;
  form.elements.on.value = on;
  history.replaceState(null, "", here);
  play(SOUNDS[sound]);
  $("urgent").textContent = sound === "stop" ? say : "";
  $("polite").textContent = sound === "stop" ? "" : say;
  reader.focus();
  if (matchMedia("(max-width: 860px)").matches) form.scrollIntoView({ block: "start" });
  return undefined;
}

function trouble(words) {
  const line = document.createElement("p");
  line.className = "error";
  line.setAttribute("role", "alert");
  line.textContent = words;
  $("now").prepend(line);
  play(SOUNDS.stop);
}

function read(text) {
  const body = new FormData(form);
  body.set("scan", text.slice(0, 4096));
  body.set("uid", crypto.randomUUID?.() ?? form.elements.uid.value);
  const volts = $("volts");
  if (volts?.value) body.set("volts", volts.value);
  inTurn(() => (body.set("on", form.elements.on.value), post(form.action, body)));
}

document.addEventListener(
  "submit",
  (event) => {
    const sent = event.target;
    if (sent === form || !sent.matches("#now form, .did form")) return;
    event.preventDefault();
    event.stopPropagation();
    const body = new FormData(sent, event.submitter);
    inTurn(() => post(sent.action, body));
  },
  true,
);

const drawSwitch = () => {
  $("sound").setAttribute("aria-pressed", String(soundIsOn()));
  $("sound").textContent = soundIsOn() ? "Sound on" : "Sound off";
};
$("sound").hidden = false;
$("sound").addEventListener("click", () => {
  turnSound(!soundIsOn());
  drawSwitch();
  play(SOUNDS.fine);
});
drawSwitch();
const reader = typedReader(form, field);
reader.start(read);
