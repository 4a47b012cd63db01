// The bench bag: its own label opens it, whatever is scanned then goes in and is suspect, the same label closes it.
import { beside, drawHit, say } from "./dock-hit.js";

export const SUSPECT = { action: "inspect", condition: "suspect", symptom: "other" };
export const NO_BAG = "Into the bench bag"; // where no bag has a label, the note says it

// What a scan says beside its way, for the list: hums, label gone, bench bag.
export function saidOf({ into, note, symptom, condition }) {
  if (into || note === NO_BAG) return "bench bag";
  return symptom && symptom !== "other" ? symptom : (condition ?? "");
}

// arm(mode) says what the next scans are; itself(bag) scans the bag as a thing; kept(bag) remembers it as this device's last.
export function bags({ last, arm, mode, word, itself, kept, hint }) {
  const close = () => {
    const { bag } = mode() ?? {};
    arm(null);
    if (bag) {
      hint("Closed", `${bag.name} is closed. What you scan next goes ${word().toLowerCase()}.`);
      say(`${bag.name} is closed.`);
    }
  };

  const learn = (bag) => {
    last = bag;
    kept(bag);
  };

  function open(bag) {
    learn(bag);
    arm({ kind: "bag", bag });
    drawHit({ signal: "ask", word: "Bag open", name: bag.name, code: bag.code, quiet: bag.inside ? `${bag.inside} in it` : "",
      reason: "Scan what goes in: it is suspect until it is tested.",
      choices: [beside(["Close it", close], [`The bag: ${word()}`, () => (arm(null), itself(bag))])] });
  }

  return {
    open,
    learn,
    close,
    last: () => last,
    // The bag's own label was scanned.
    scanned: (bag) => (mode()?.kind === "bag" && mode().bag?.code === bag.code ? close() : open(bag)),
    // The card: the last bag of this device, or the label is asked for.
    card() {
      if (last) return open(last);
      arm({ kind: "bag" });
      return hint("Which bag?", "Scan the bench bag's own label, then what goes in.");
    },
    shape: (code, bag) => ({ code, ...SUSPECT, ...(bag ? { into: bag.code } : { note: NO_BAG }) }),
  };
}
