// The last ten scans of this device, each with its answer and its undo.
import { $, entries, itemOf, nameOf } from "./dock-desk.js";
import { el, lettered, mark, spell } from "./dock-draw.js";

export function drawLast(undo) {
  $("last").replaceChildren(...entries().map((entry) => {
    const mine = entry.undone ? "undone" : entry.signal;
    const end = entry.counted !== null ? `${entry.counted} counted` : entry.said || spell(itemOf(entry.code)?.code ?? entry.code.trim().slice(0, 20));
    return el("li", { class: "strip plain", "data-uid": entry.id, "data-signal": mine, "data-undone": entry.undone },
      mark(mine), lettered(nameOf(entry)), el("span", { class: "code end" }, el("span", { class: "nb" }, `${entry.action} ${end}`)),
      entry.undone ? el("span", { class: "undone" }, "undone")
        : el("button", { type: "button", class: "act", "aria-label": `Undo ${nameOf(entry)}`, onclick: () => undo(entry.id) }, "Undo"));
  }));
}
