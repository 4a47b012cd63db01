// Questions that hold a scan back for a moment: how many are in the case, what is wrong, which bag. The next scan settles one.
import { el, lettered, spell } from "./dock-draw.js";
import { beside, choose, drawHit, say, steps } from "./dock-hit.js";

const UNANSWERED_MS = 25000; // a count nobody gives: the case goes as vouched

// release(id, changes) lets a held scan go; answered(id, changes) tells that a person answered; redraw() draws what is known.
// minds(id) says what speaks against a held scan.
export function questions({ known, minds, release, answered, redraw }) {
  let asking = null;

  function hold(question) {
    asking = question;
    question.timer = setTimeout(() => asking === question && leave(), UNANSWERED_MS);
  }

  // Left open when the next thing is scanned: the scan goes as it stands.
  function settle() {
    if (!asking) return;
    const { id, timer } = asking;
    clearTimeout(timer);
    asking = null;
    if (id) release(id);
  }

  const leave = () => {
    settle();
    redraw();
  };

  function answer(id, changes) {
    if (asking?.id !== id) return;
    clearTimeout(asking.timer);
    asking = null;
    release(id, changes);
    answered(id, changes);
  }

  // A case: its contents go along once counted.
  function inside(made, item) {
    const missing = new Set();
    let counted = item.inside;
    const done = () => answer(made.id, { counted, missing: [...missing] });
    const question = { id: made.id, asksMissing: false, number: (number) => ((counted = number), done()), miss };
    hold(question);
    draw();
    say(`${item.name}: ${item.inside} inside. All there?`);

    function miss(code) {
      const one = known(code)?.code ?? code;
      if (!question.asksMissing || !item.contents.some(([held]) => held === one)) return false;
      if (missing.has(one)) missing.delete(one);
      else missing.add(one);
      counted = item.inside - missing.size;
      draw();
      return true;
    }

    function draw() {
      const choices = question.asksMissing
        ? [steps(() => counted, (number) => (counted = number)), choose([`That is ${counted}`, done, "next"], ["Go on without counting", leave])]
        : [choose([`Yes, ${item.inside}`, done, "next"], ["Not all", () => ((question.asksMissing = true), draw())])];
      const list = question.asksMissing
        ? el("ul", { class: "inside-list" }, ...item.contents.slice(0, 60).map(([code, name]) =>
            el("li", {}, el("button", { type: "button", class: "strip lined", "aria-pressed": String(missing.has(code)), onclick: () => miss(code) },
              lettered(name), el("span", { class: "code" }, missing.has(code) ? "missing" : spell(code))))))
        : null;
      drawHit({ signal: "ask", word: `${item.inside} inside`, name: item.name, code: item.code, quiet: [...(item.counted ?? [])].join(", "), standing: item.standing,
        reason: question.asksMissing ? "Tap what is missing, or put the count right." : `${minds(made.id)} All there? If you scan on, nobody has counted.`.trim(), choices, list });
    }
  }

  // A bag that nobody has scanned yet: its label says which.
  function whichBag(made, name, then) {
    hold({ id: made.id, bag: (bag) => (then(bag), answer(made.id, { into: bag.code, note: "" })) });
    drawHit({ signal: "ask", word: "Which bag?", name, code: made.code, reason: "It stays here. Scan the bench bag's own label.",
      choices: [beside(["No bag: put aside", leave])] });
    say("Which bag? Scan the bench bag's own label.");
  }

  return {
    hold,
    settle,
    leave,
    answer,
    inside,
    whichBag,
    isOpen: () => asking !== null,
    holds: (id) => asking?.id === id,
    // Whether the open question takes what was read as its answer.
    takes(what, item) {
      if (!asking) return false;
      if (what.kind === "number" && asking.number) return asking.number(what.number), true;
      if (item?.bag && asking.bag) return asking.bag(item), true;
      return what.kind === "code" && Boolean(asking.miss?.(what.code));
    },
  };
}
