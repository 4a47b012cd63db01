// What is scanned before the page knows what things are: kept at once, and looked at again, in order, once it does. Only then
// is it known whether a case asks for its count or a bag opens.
const LONGEST_MS = 1500;

// known(code) is what a code is, if that is known; keep(text) keeps a scan as it stands; decide(text, made) does the rest;
// look(codes, then) asks for these alone, where everything takes too long.
export function early({ known, keep, decide, look }) {
  const waiting = [];
  let knows = false;
  let timer;

  function go() {
    clearTimeout(timer);
    timer = undefined;
    while (waiting.length) {
      const { text, made } = waiting.shift();
      decide(text, made);
    }
  }

  return {
    // Whether a text was taken to wait.
    takes(text, what) {
      const strange = what.kind === "code" && !known(what.code);
      if (knows || (!waiting.length && !strange)) return false;
      waiting.push({ text, what, made: what.kind === "code" ? keep(text) : null });
      timer ??= setTimeout(go, LONGEST_MS);
      look(waiting.filter((one) => one.made).map((one) => one.what.code), () => {
        if (!waiting.some((one) => one.made && !known(one.what.code))) go();
      });
      return true;
    },
    // By heart, or not at all: nothing waits any longer.
    learnt() {
      knows = true;
      go();
    },
  };
}
