// What the dock's parts share: what the page was given, what this device remembers, what codes are known to be.
import { spell } from "./dock-draw.js";
import { localStore } from "./dock-queue.js";
import { readText } from "./dock-reader.js";

export const $ = (id) => document.getElementById(id);
export const kit = $("kit").dataset;
export const token = () => $("scan").elements.csrfmiddlewaretoken.value;

export const WAYS = ["out", "truck", "back"];
export const WORD = { out: "Out", truck: "On the truck", back: "Back" };
export const DAYS_4 = 4 * 86400;
export const HOURS_3 = 3 * 3600;
const LAST = 10;

export const state = {
  show: Number(kit.show),
  name: kit.name,
  way: kit.way,
  isShut: false, // the shop answers, but not this phone
  turnedAt: 0, // when the strip last said which way it is now
  mode: null, // what the next scans are, where they do not simply go out, on the truck or back
  shows: [],
  elsewhere: [], // shows that things are still out to, though nobody would scan for them now
  only: null, // the one show of a crew pass
  items: [],
  known: new Map(), // every code, aliases too, to what it is
  lines: new Map(), // counted lines, by number
  count: async () => null, // how far the list is, by heart
};

export const remember = (name, value, age) => {
  document.cookie = `${name}=${value}; path=/; max-age=${age}; samesite=lax`;
};

export const known = (code) => state.known.get(code);
// What the judge asks: by heart, whatever signal there is.
export const desk = {
  known: (text) => itemOf(text),
  show: (id) => state.shows.find((one) => one.id === id) ?? state.elsewhere.find((one) => one.id === id),
  all: () => state.items,
  get only() {
    return state.only;
  },
};

export const itemOf = (text) => {
  const what = readText(text);
  return what.kind === "code" ? known(what.code) : undefined;
};
export const nameOf = (entry) => itemOf(entry.code)?.name || entry.name || spell(entry.code.trim().slice(0, 40));

// The last scans of this device, newest first.
const log = localStore(`kg.last.${kit.person}`);
export const entries = () => log.read();
export const entryOf = (id) => log.read().find((entry) => entry.id === id);
export const lastEntry = () => log.read().find((entry) => !entry.undone);
export const addEntry = (entry) => log.write([entry, ...log.read()].slice(0, LAST));
export const amend = (id, changes) => log.write(log.read().map((entry) => (entry.id === id ? { ...entry, ...changes } : entry)));
export const forget = (id) => log.write(log.read().filter((entry) => entry.id !== id));
