// The hit strip: the last answer, or a question, large. And what is said aloud to those who do not look.
import { $ } from "./dock-desk.js";
import { el, lettered, mark, spell } from "./dock-draw.js";
import { sound } from "./dock-sound.js";

// What the strip says now, as its drawer named it: drawn anew only when that changes, so that no tap falls on a strip just gone.
let key = "";
export const drawnKey = () => key;

// The answer comes to the eye, unless the hand is busy further down, counting.
let counting = false;
document.addEventListener("pointerdown", (event) => (counting = Boolean(event.target.closest("form.count"))), true);
export const eyeUp = () => (counting = false);

export function drawHit({ signal, word, name, code, quiet, standing, reason, kept, choices = [], list, as = "" }) {
  const hit = $("hit");
  key = as;
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
    ...(code || quiet ? [el("p", { class: "stamp" }, el("span", { class: "nb" }, spell(code)), " ", el("span", { class: "quiet" }, quiet ?? ""))] : []),
    ...(reason ? [el("p", { class: "reason" }, el("b", {}, reason), kept ? ` ${kept}` : "")] : []),
    ...choices,
    ...(list ? [list] : []),
  );
}

const button = ([word, act, kind]) =>
  el("button", { type: "button", class: `strip ${kind ?? "lined"}`, onclick: () => act() }, el("span", { class: "name" }, word));

// At most two answers to a question; `beside` offers something while scanning stays the next thing.
export const choose = (...pairs) => el("p", { class: "choose" }, ...pairs.map(button));
export const beside = (...pairs) => el("p", { class: "choose beside" }, ...pairs.map(button));

export function steps(get, set) {
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

export function say(text, urgent = false) {
  $(urgent ? "urgent" : "polite").textContent = text;
}

export const drawHint = (word, reason) => drawHit({ signal: "none", word, reason });

export function warn(name, reason) {
  drawHit({ signal: "look", word: "Look", name, reason });
  sound("look");
  say(`${name}. ${reason}`);
}
