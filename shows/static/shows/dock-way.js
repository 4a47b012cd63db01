// Which way gear goes, and for which show: turned by a tap or a card, followed by the clock until somebody turns it.
import { DAYS_4, HOURS_3, WORD, kit, remember, state } from "./dock-desk.js";
import { drawHint, say } from "./dock-hit.js";
import { look } from "./dock-known.js";

export function turn(way, { chosen = true } = {}) {
  const show = state.shows.find((one) => one.id === state.show);
  state.way = way;
  if (chosen) remember("dock_way", way, HOURS_3);
  const header = document.querySelector(".way");
  header.dataset.way = way;
  header.querySelector(".name").textContent = WORD[way];
  if (show) header.querySelector(".under").textContent = show.under[way];
  document.title = `${WORD[way]}, ${state.name}: Knowngood`;
  say(`${WORD[way]}, ${state.name}.`);
  if (chosen) drawHint(WORD[way], `What you scan next ${{ out: "goes out", truck: "is on the truck", back: "is back" }[way]}.`);
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

export function goTo(show, way) {
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
