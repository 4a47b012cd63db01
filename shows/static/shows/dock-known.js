// What the record knows: learnt once by heart, looked up after each answer.
import { $, kit, state } from "./dock-desk.js";
import { gates } from "./dock-draw.js";

const SLOW_MS = 300;

// Everything a device should know by heart, so that it works without signal. Answers when the shop wrote it down.
export async function learn() {
  try {
    const snapshot = await (await fetch(`${kit.snapshot}?show=${state.show}`, { credentials: "same-origin" })).json();
    const { shows, elsewhere = [], only = null, items, kinds, made_at: madeAt } = snapshot;
    Object.assign(state, { shows, elsewhere, only, items, kinds, madeAt: Date.parse(madeAt) });
    state.known.clear();
    for (const item of snapshot.items) state.known.set(item.code, item);
    for (const [alias, code] of snapshot.aliases) state.known.set(alias, state.known.get(code));
    for (const line of snapshot.lines) state.lines.set(String(line.id), line);
    return state.madeAt;
  } catch {
    return Infinity; // without it the page still scans; names come with the answers
  }
}

let looking;
// What codes are, and the running count; `then` draws what came.
export async function look(codes, then = () => {}) {
  const query = new URLSearchParams({ show: state.show, way: state.way });
  codes.slice(0, 100).forEach((code) => query.append("code", code));
  looking?.abort();
  looking = new AbortController();
  // the other way's count says nothing of this one
  if (drawnFor !== state.way) setTimeout(() => drawnFor !== state.way && drawRun({ done: "", words: "", still: "Asking the shop for the count." }), SLOW_MS);
  try {
    const response = await fetch(`${kit.lookup}?${query}`, { credentials: "same-origin", signal: looking.signal });
    state.isShut = response.redirected || response.status === 401 || response.status === 403; // a pass withdrawn, a sign-in that ran out
    const answer = await response.json();
    for (const [code, item] of Object.entries(answer.items)) hear(code, item);
    counting += 1;
    if (state.show) drawRun(answer.run);
    if (codes.length) then();
  } catch (error) {
    if (error.name !== "AbortError") oldCount(); // it catches up with the next answer
  }
}

// What the shop says of a thing now, into what is known of it by heart.
function hear(code, item) {
  const held = state.known.get(code);
  if (!held) return state.known.set(code, item);
  Object.assign(held, item, { truck: item.where === "on the truck" });
  if (item.standing === "suspect") held.against ??= item.says;
  else if (held.against?.startsWith("suspect")) delete held.against;
  if (!item.minded) delete held.mind;
  return held;
}

// Why the shop does not count.
export const silence = () => (state.isShut ? "The shop answers this phone no more" : "No answer from the shop");

// The shop is silent: counted on by heart. Until that is known, what was counted the other way says nothing, and what lacks may be
// loaded.
export async function oldCount() {
  const mine = (counting += 1);
  if (!state.madeAt) {
    if (drawnFor !== state.way) drawRun({ done: "", words: "", still: "" });
    $("still")?.replaceChildren(`${silence()}: this count is old.`);
  }
  const run = await state.count();
  if (run && mine === counting) drawRun(run);
}

let counting = 0;
let drawnFor = state.way;
function drawRun({ done, total, words, still }) {
  if (!$("done")) return;
  drawnFor = state.way;
  $("done").textContent = done;
  $("words").textContent = words;
  $("still").textContent = still;
  document.querySelector("#run .gates")?.remove();
  if (total && total <= 100) $("still").before(gates(done, total));
}
