// What waits on this device, said above the bar while it waits, and for a moment once the shop has answered all of it.
import { $, kit } from "./dock-desk.js";
import { el } from "./dock-draw.js";

const THROUGH_MS = 6000;

const WORDS = {
  "no signal": "until there is signal.",
  "no answer": "the shop's computer does not answer yet.",
  "sign in": "Sign in again and they go.",
  refused: "one of them could not be sent as it is.",
};

let most = 0; // that waited since the shop answered last

export function drawWaiting({ state, waiting }, carry) {
  const place = $("waiting");
  const isSilent = state in WORDS || state === "not kept";
  if (isSilent && waiting) {
    most = Math.max(most, waiting);
    const joint = { "no signal": " ", "sign in": ". " }[state] ?? ", ";
    const words = state === "not kept" ? "This browser keeps nothing: leave the page open until all is sent." : `${waiting} not sent: kept on this device${joint}${WORDS[state]}`;
    place.replaceChildren(words, " ", el("button", { type: "button", class: "act", onclick: carry }, "Carry them to the shop"));
    if (state === "sign in") place.append(" ", el("a", { href: `${kit.signIn}?next=${kit.dock}` }, "Sign in"));
    place.hidden = false;
  } else if (most && !waiting) {
    place.textContent = most === 1 ? "Sent: the shop has answered it." : `All sent: the shop has answered all ${most}.`;
    most = 0;
    setTimeout(() => (place.hidden = most === 0), THROUGH_MS);
  } else if (!most) place.hidden = true;
}
