// What this device says by itself while the shop does not answer, and what it then holds to be true.
import { desk } from "./dock-desk.js";
import { judge, moved, within } from "./dock-judge.js";

const verdicts = new Map(); // of scans nobody has answered yet
const before = new Map(); // what the things of a scan were, so that an undo can put it back

const MOST = 30; // scans: the last ten alone can be undone

const kept = (item) => {
  const { show, truck, home, against, been, doubt, missing, contents, inside } = item;
  return { item, show, truck, home, against, been, doubt, missing, contents, inside };
};
const things = (scan) => {
  const item = desk.known(scan.code);
  return item ? [...within(item, desk)] : [];
};

// Judge a scan by what is known before it, then let it move what it moves; again, once the count of a case is given.
export function heard(scan) {
  putBack(scan.id);
  const at = Date.parse(scan.happened_at);
  verdicts.set(scan.id, judge(scan, desk, at));
  went(scan);
  return verdicts.get(scan.id);
}

function went(scan) {
  before.set(scan.id, things(scan).map(kept));
  if (before.size > MOST) before.delete(before.keys().next().value);
  moved(scan, desk, Date.parse(scan.happened_at));
}

export const verdictOf = (id) => verdicts.get(id) ?? null;
export const settled = (id) => verdicts.delete(id);

export function putBack(id) {
  for (const { item, ...was } of before.get(id) ?? []) Object.assign(item, was);
  before.delete(id);
}

// After the shop's word was learnt anew: what it has not heard of yet happened all the same, in order.
export function again(scans) {
  before.clear();
  for (const scan of scans) {
    if (scan.action === "undo") putBack(scan.undoes);
    else if (verdictOf(scan.id)) went(scan);
    else heard(scan); // made before anything was known
  }
}
