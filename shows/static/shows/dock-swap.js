// A dead box in the middle of a show.
import { desk, kit, state } from "./dock-desk.js";
import { spell } from "./dock-draw.js";
import { choose, drawHit, say } from "./dock-hit.js";

// The dead one is suspect from now; the nearest spare is offered, and whatever is scanned next takes its place.
export async function swap(entry, { arm, leave, read, scan }) {
  arm({ kind: "swap", dead: entry.code });
  scan({ code: entry.code, action: "inspect", condition: "suspect", symptom: "dead" }, { name: `${entry.name}, dead` });
  let found = { spare: null, why: "There is no signal to look for a spare: scan any that fits." };
  try {
    found = await (await fetch(`${kit.spare}?${new URLSearchParams({ code: entry.code, show: state.show })}`, { credentials: "same-origin" })).json();
  } catch {
    const one = spareOf(entry.code, desk, state.show);
    if (one) found = { spare: { ...one, where: one.show ? "here at the show" : `in the shop${one.case ? `, ${one.case}` : ""}` } };
  }
  if (state.mode?.dead !== entry.code) return;
  const { spare } = found;
  drawHit(spare
    ? { signal: "ask", word: "Swap", name: spare.name, code: spare.code, standing: spare.standing, quiet: spare.says, reason: `${entry.name} is dead. The nearest spare is ${spare.where}: scan it.`,
        choices: [choose(["It is in", () => read(spare.code), "next"], ["Leave it", leave])] }
    : { signal: "ask", word: "Swap", name: entry.name, code: entry.code, reason: `${found.why} Scan whatever takes its place.`, choices: [choose(["Leave it", leave])] });
  say(spare ? `The nearest spare is ${spare.name}, ${spell(spare.code)}, ${spare.where}.` : found.why);
}

// The nearest spare that is fit to go: with this show and on no line, then in the shop; proved before unproved.
function spareOf(dead, desk, show) {
  const item = desk.known(dead);
  if (!item) return null;
  const fit = desk
    .all()
    .filter((one) => one.type === item.type && one.mm === item.mm && one.code !== item.code && !one.against && !one.mind)
    .filter((one) => !one.show || (one.show === show && !desk.show(show)?.named?.includes(one.code)));
  const near = (one) => (one.show === show ? 0 : 2) + (one.inCase && one.inCase === item.inCase ? 0 : 1);
  const proved = (one) => (one.standing === "known-good" ? 0 : 1);
  fit.sort((a, b) => near(a) - near(b) || proved(a) - proved(b) || a.name.localeCompare(b.name) || a.code.localeCompare(b.code));
  return fit[0] ?? null;
}
