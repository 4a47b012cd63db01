// What is wrong with it: big words to tap, over the strip. Nothing here takes the focus from the scanner.
import { el } from "./dock-draw.js";

const SYMPTOMS = [
  ["hums"], ["crackles"], ["thin"], ["quiet"], ["dead"], ["comes and goes"], ["no phantom"], ["gets quieter"], ["got wet"], ["other"],
  ["damaged", "damaged"], ["parts missing", "parts missing"], ["label gone", "label gone"],
];

const saidOf = ([symptom, condition = "suspect"]) =>
  condition === "label gone" ? { condition } : { condition, symptom };

export function panels({ box, last, onSay, onChannel, onArm, onSwap }) {
  const close = () => {
    box.hidden = true;
    box.replaceChildren();
  };

  const open = (title, ...parts) => {
    box.replaceChildren(
      el("h2", { class: "marker" }, title),
      ...parts,
      el("p", { class: "panel-end" }, el("button", { type: "button", class: "act", onclick: close }, "Nothing: close")),
    );
    box.hidden = false;
    box.scrollIntoView({ block: "nearest" });
  };

  const keys = (act, { without = [] } = {}) =>
    el("div", { class: "say-keys" }, ...SYMPTOMS.filter(([word]) => !without.includes(word)).map((one) =>
      el("button", { type: "button", class: "strip plain", onclick: () => act(saidOf(one), one[0]) }, el("span", { class: "name" }, one[0]))));

  const channel = (name) => open(`What does channel ${name} do?`, keys((said) => {
    close();
    onChannel(name, said);
  }, { without: ["label gone", "parts missing"] }));

  return {
    close,
    channel,
    open,
    symptoms: ({ name, say }) => open(`What is wrong with ${name}?`, keys(say)),
    toggle() {
      if (!box.hidden) return close();
      const entry = last();
      if (!entry) return open("What is wrong? Tap, then scan it.", keys((said, word) => {
        close();
        onArm(word);
      }, { without: ["label gone", "damaged", "parts missing"] }));
      if (entry.code.startsWith("CH.")) return channel(entry.code.slice(3));
      return open(
        `What is wrong with ${entry.name}?`,
        el("button", { type: "button", class: "strip swap", onclick: () => (close(), onSwap(entry)) }, el("span", { class: "name" }, "Dead: swap it")),
        keys((said, word) => {
          close();
          onSay(entry, said, `${entry.name}, ${word}`);
        }),
      );
    },
  };
}
