// What the shop would answer to a scan, from what this device knows by heart: the rules of shows/calc/custody.py, word for word.
// The shop's own word comes later and counts; where it is graver, a technician is told.

import { readText } from "./dock-reader.js";

const FINE = "fine";
const LOOK = "look";
const STOP = "stop";
const RANK = { fine: 0, look: 1, stop: 2 };

const upper = (words) => words.charAt(0).toUpperCase() + words.slice(1);
const worse = (one, other) => (RANK[one] >= RANK[other] ? one : other);

// desk: known(code) -> item, show(id) -> its times and list, all() -> every item; at: when it happened, in ms.
export function judge(scan, desk, at) {
  const item = desk.known(scan.code);
  if (!item) return mistyped(scan.code); // what else is not known by heart waits for the shop
  if (desk.only && scan.show && scan.show !== desk.only) {
    return { signal: STOP, outcome: "refused", reason: `This pass scans for ${desk.show(desk.only)?.name} alone.` };
  }
  const verdict = { out, truck, back }[scan.action]?.(scan, item, desk, at);
  return verdict ? lacking(scan, item, desk, verdict) : null;
}

// A code that is none, by its own check character: as inventory/calc/codes.py reads what was typed.
const LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
function mistyped(text) {
  const { kind, code } = readText(text);
  if (kind !== "code" || /[/\\.]/.test(text) || !code || code.length > 16 || [...code].some((one) => !LETTERS.includes(one))) return null;
  const rest = [...code.slice(0, 7)].reduce((sum, one) => sum * 32 + LETTERS.indexOf(one), 0) % 37;
  if (code.length === 8 && LETTERS[rest] === code[7]) return null;
  const reason = code.length === 8 ? "One character is wrong or two are swapped: read the code again." : `A code has eight characters; this has ${code.length}.`;
  return { signal: STOP, outcome: "unknown", reason, foreign: true };
}

// A count that does not add up, after what was said to be missing.
function counted({ counted: many, missing = [] }, { name, contents }, said) {
  const expected = contents?.filter(([code]) => !missing.includes(code)).length;
  if (!contents || !Number.isInteger(many) || many === expected) return said;
  return [worse(said[0], LOOK), "contradiction", `${said[2]} ${many} of ${expected} were counted in ${name}: scan what is in it.`];
}

// What was said not to be in its case, by name.
function lacking({ counted, missing = [] }, item, desk, verdict) {
  const names = [...within(item, desk)].filter((one) => one !== item && missing.includes(one.code)).map((one) => one.name).sort();
  if (!names.length) return verdict;
  const some = names.length > 4 ? [...names.slice(0, 3), `${names.length - 3} more`] : names;
  const said = `${some.length > 1 ? `${some.slice(0, -1).join(", ")} and ` : ""}${some.at(-1)} ${names.length === 1 ? "is" : "are"} not in it.`;
  const sum = verdict.outcome === "accepted" && Number.isInteger(counted) ? `${counted} of ${counted + names.length} counted; ` : "";
  return { ...verdict, signal: worse(verdict.signal, LOOK), reason: `${verdict.reason} ${sum}${said}` };
}

function out(scan, item, desk, at) {
  const there = desk.show(scan.show)?.name;
  if (!there) return null;
  let [signal, outcome, reason] = [FINE, "accepted", ""];
  if (!item.show) reason = `Out to ${there}.`;
  else if (item.show === scan.show) reason = item.truck ? `Off the truck again: still out to ${there}.` : `Already out to ${there}.`;
  else {
    const leaving = desk.show(item.show);
    const other = leaving?.name ?? "another show";
    if (isOver(leaving, at)) reason = `Straight on from ${other} to ${there}.`;
    else if (!hasBegun(leaving, at)) [signal, reason] = [LOOK, `Moved from ${other}, which is now short, to ${there}.`];
    else {
      [signal, outcome] = [LOOK, "contradiction"];
      reason = `The record says it is at ${other}, which is under way. Now out to ${there}; a technician is told.`;
    }
  }
  if (item.against) {
    if (reason === `Out to ${there}.`) reason = `It is out to ${there} all the same.`;
    [signal, reason] = [STOP, `${reason} ${upper(item.against)}: take another, or undo.`];
  } else if (item.mind) [signal, reason] = [worse(signal, LOOK), `${reason} ${item.mind}`];
  [signal, outcome, reason] = counted(scan, item, [signal, outcome, reason]);
  const listed = signal === STOP || scan.replaces ? "" : onList(scan.show, item, desk);
  return { signal, outcome, reason: `${reason} ${listed}`.trim() };
}

function truck(scan, item, desk) {
  const show = scan.show ?? item.show;
  const there = desk.show(show)?.name;
  let [signal, outcome, reason] = [FINE, "accepted", ""];
  if (!show) {
    [signal, outcome] = [LOOK, "contradiction"];
    reason = "Never scanned out, and no show was named: it stays in the shop on the record.";
  } else if (!item.show) {
    [signal, outcome, reason] = [LOOK, "contradiction", `Never scanned out. Now on the truck from ${there}.`];
  } else if (item.show !== show) {
    [signal, outcome] = [LOOK, "contradiction"];
    reason = `The record says it is out to ${desk.show(item.show)?.name ?? "another show"}. Now on the truck from ${there}.`;
  } else reason = `${item.truck ? "Already on" : "On"} the truck from ${there}.`;
  if (item.against) [signal, reason] = [worse(signal, LOOK), `${reason} Mind: ${item.against}.`];
  [signal, outcome, reason] = counted(scan, item, [signal, outcome, reason]);
  return { signal, outcome, reason };
}

function back(scan, item, desk, at) {
  let [signal, outcome, reason] = [FINE, "accepted", "It was already back."];
  if (item.show) {
    const here = desk.show(item.show);
    const name = here?.name ?? "a show";
    const underWay = here && hasBegun(here, at) && !isOver(here, at);
    if (scan.show && scan.show !== item.show && underWay) [signal, reason] = [LOOK, `Back from ${name}, which is still under way.`];
    else reason = `Back from ${name}.`;
  }
  [signal, outcome, reason] = counted(scan, item, [signal, outcome, reason]);
  return { signal, outcome, reason: item.home && !scan.condition ? `${reason} ${item.home}` : reason };
}

const isOver = (show, at) => Boolean(show) && (show.cancelled || Date.parse(show.over) < at);
const hasBegun = (show, at) => Boolean(show) && Date.parse(show.begins) <= at;

// What the pull list says of it: not on it, or one too many.
function onList(id, item, desk) {
  const show = desk.show(id);
  if (!show?.listed || item.inside !== undefined || show.named.includes(item.code)) return "";
  const wanted = show.wanted.filter(([type]) => type === item.type);
  const any = wanted.some(([, mm]) => !mm);
  const fits = (one) => one.type === item.type && (any || one.mm === item.mm) && one.inside === undefined;
  const asked = wanted.filter(([, mm]) => any || mm === item.mm).reduce((sum, [, , count]) => sum + count, 0);
  if (!asked) return "Not on its list.";
  const already = item.show === id;
  const number = desk.all().filter((one) => one !== item && one.show === id && fits(one) && !show.named.includes(one.code)).length + 1;
  return number > asked && !already ? `That makes ${number}; the list asks for ${asked}.` : "";
}

// What lies in a case, and in the cases in it; each thing once.
export function within(item, desk, found = new Set([item])) {
  for (const [code] of item.contents ?? []) {
    const one = desk.known(code);
    if (one && !found.has(one)) within(one, desk, found.add(one));
  }
  return found;
}

// What is known by heart after a scan: the thing itself, and what a case vouches for.
export function moved(scan, desk, at) {
  const item = desk.known(scan.code);
  if (!item) return;
  if (scan.action === "inspect") {
    // what was just said to be ill is not to go out again, here as little as in the shop
    if (scan.condition && scan.condition !== "label gone" && scan.symptom !== "wet") {
      const day = new Date(at).toLocaleDateString("en-GB", { weekday: "short", day: "numeric", month: "short" });
      const symptom = scan.symptom && scan.symptom !== "other" ? ` (${scan.symptom})` : "";
      item.against ??= `suspect since ${day.replace(",", "")}${symptom}`;
    }
    return;
  }
  const missing = new Set(scan.missing ?? []);
  const seen = new Set([item]);
  let doubt; // a count that does not add up is all that tells of what lies in the case
  if (item.contents) {
    item.contents = item.contents.filter(([code]) => !missing.has(code));
    item.inside = item.contents.length;
    if (Number.isInteger(scan.counted) && scan.counted !== item.inside) doubt = `${item.name}: ${scan.counted} of ${item.inside} were counted`;
  }
  delete item.missing;
  step(item);

  function step(one) {
    const { show: from = null, truck = false } = one;
    const to = scan.action === "back" ? null : (scan.show ?? from);
    const left = desk.show(from);
    one.show = to;
    if (scan.action === "truck") one.truck = Boolean(to);
    else if (one === item || from !== to) one.truck = false;
    // it has been there, unless it left before that began
    if (from && from !== to && (scan.action !== "out" || hasBegun(left, at) || isOver(left, at))) one.been = [...(one.been ?? []), from];
    if (one === item) delete one.doubt;
    else if (!doubt || from !== to || truck !== one.truck) one.doubt = doubt;
    if (scan.action === "back") {
      delete one.home;
      // whom it was lent to, or given back to, does not have it any more
      const still = (one.against ?? "").split("; ").filter((words) => !/^(lent|given back) to /.test(words));
      one.against = still.join("; ");
    }
    for (const [code] of one.contents ?? []) {
      const other = desk.known(code);
      const there = other?.show ?? null;
      const goes = scan.action === "out" ? [null, scan.show, from].includes(there) : there && there === (scan.action === "truck" ? (scan.show ?? from) : from);
      if (other && goes && !seen.has(other) && !missing.has(code)) {
        seen.add(other);
        step(other);
      }
    }
  }
}
