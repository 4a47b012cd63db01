// What waits on this device, said above the bar while it waits, and for a moment once the shop has answered all of it.
import { $, kit } from "./dock-desk.js";
import { el } from "./dock-draw.js";

const THROUGH_MS = 4000;

const WORDS = {
  "no signal": "until there is signal.",
  "no answer": "the shop's computer does not answer yet.",
  "sign in": "Sign in again and they go.",
  refused: "one of them could not be sent as it is.",
};

let isTold = false; // that something waits, since the shop answered last

export function drawWaiting({ state, waiting }, carry) {
  const place = $("waiting");
  const isSilent = state in WORDS || state === "not kept";
  if (isSilent && waiting) {
    isTold = true;
    // drawn anew only when it says something else, so that no tap falls on a button just gone
    const says = `${state} ${waiting}`;
    if (place.dataset.says === says && !place.hidden) return;
    place.dataset.says = says;
    const joint = { "no signal": " ", "sign in": ". " }[state] ?? ", ";
    const words = state === "not kept" ? "This browser keeps nothing: leave the page open until all is sent." : `${waiting} not sent: kept on this device${joint}${WORDS[state]}`;
    place.replaceChildren(el("span", {}, words), " ", el("button", { type: "button", class: "act", onclick: carry }, "Carry them to the shop"));
    if (state === "sign in") place.append(" ", el("a", { href: `${kit.signIn}?next=${kit.dock}` }, "Sign in"));
    place.hidden = false;
  } else if (isTold && !waiting) {
    place.dataset.says = "";
    place.textContent = "All sent: the shop has answered.";
    isTold = false;
    setTimeout(() => (place.hidden = !isTold), THROUGH_MS);
  } else if (!isTold) place.hidden = true;
}
