// Which way gear goes, and for which show: turned by a tap or a card, followed by the clock until somebody turns it.
import { DAYS_4, HOURS_3, WAYS, WORD, kit, remember, state } from "./dock-desk.js";
import { drawHint, say, warn } from "./dock-hit.js";
import { countsTurned } from "./dock-count.js";
import { look } from "./dock-known.js";
import { localStore } from "./dock-queue.js";

const GREETING_MS = 4000;

const card = localStore(`kg.show.${kit.person}`); // the last one that chose a show

export function turn(way, { chosen = true, told = chosen } = {}) {
  const show = state.shows.find((one) => one.id === state.show);
  state.way = way;
  if (chosen) remember("dock_way", way, HOURS_3);
  const header = document.querySelector(".way");
  header.dataset.way = way;
  header.querySelector(".name").textContent = WORD[way];
  if (show) header.querySelector(".under").textContent = show.under[way];
  document.title = `${WORD[way]}, ${state.name}: Knowngood`;
  say(`${WORD[way]}, ${state.name}.`);
  if (told) state.turnedAt = Date.now();
  if (told) drawHint(WORD[way], `What you scan next ${{ out: "goes out", truck: "is on the truck", back: "is back" }[way]}.`);
  countsTurned(way);
  const rows = document.querySelector(".counting");
  if (Number(rows.dataset.show) !== state.show) {
    rows.hidden = true; // another show's: made anew from what is known by heart
    state.count();
  }
  look([]);
}

// The times go on while the page lies open: a way nobody turned follows them.
export function followTheClock() {
  if (document.cookie.includes("dock_way=")) return;
  const show = state.shows.find((one) => one.id === state.show);
  const now = Date.now();
  const step = show?.ways.filter(([since]) => !since || Date.parse(since) <= now).pop();
  if (step && step[1] !== state.way) turn(step[1], { chosen: false });
}

export async function goTo(show, way) {
  const known = state.shows.find((one) => one.id === show);
  if (!known) {
    drawHint("One moment", `Asking the shop for that card's show. Until then: ${WORD[state.way].toLowerCase()}, ${state.name}.`);
    const isThere = await fetch(kit.hello, { credentials: "same-origin", redirect: "error", signal: AbortSignal.timeout(GREETING_MS) }).then(({ ok }) => ok, () => false);
    if (isThere) location.assign(`${kit.dock}?show=${show}&way=${way}`);
    else warn("Not known here", `That card's show is not on this phone: it needs signal. You still scan: ${WORD[state.way].toLowerCase()}, ${state.name}.`);
    return;
  }
  remember("dock_show", show, DAYS_4);
  remember("dock_way", way, HOURS_3);
  card.write({ show, name: known.name });
  to(show, known.name);
  turn(way);
}

function to(show, name) {
  for (const link of document.querySelectorAll(".also a")) link.href = link.href.replace(`/shows/${state.show}/`, `/shows/${show}/`);
  state.show = show;
  state.name = name;
  document.querySelector(".show-name").textContent = name;
}

// What was chosen here counts, whatever a page kept for times without signal says. Tells whether that is another thing.
export function asChosen() {
  const { show, name } = card.read();
  const way = WAYS.find((one) => document.cookie.includes(`dock_way=${one}`)) ?? state.way;
  const isElsewhere = show !== state.show && `${document.cookie};`.includes(`dock_show=${show};`);
  if (isElsewhere) to(show, name);
  else if (way === state.way) return false;
  turn(way, { chosen: false, told: true });
  return true;
}
