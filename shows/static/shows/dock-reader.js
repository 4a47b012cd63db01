// Readers feed the page with texts. A reader is anything with start(onRead) and focus(); a camera is another one.

export { typedReader } from "../company/typed-reader.js";

const LOOK_ALIKE = { I: "1", L: "1", O: "0" };

// What a text is: the server judges in the end; here only so much that cards are obeyed and names are found at once.
export function readText(text) {
  const segment = (text.trim().split(/[?#]/)[0].replaceAll("\\", "/").split("/").filter((part) => part.trim()).pop() ?? "")
    .trim()
    .toUpperCase();
  const [first, ...rest] = segment.split(".");
  if (first === "DO" && rest.length === 1) return { kind: "command", word: rest[0] };
  if (first === "GO" && rest.length === 2 && /^\d{1,15}$/.test(rest[0])) {
    return { kind: "show", show: Number(rest[0]), way: rest[1].toLowerCase() };
  }
  if (first === "COUNT" && rest.length === 1 && /^\d{1,15}$/.test(rest[0])) return { kind: "count", line: rest[0] };
  if (first === "CH" && rest.length === 1 && rest[0]) return { kind: "channel", channel: rest[0] };
  if (/^\d{1,5}$/.test(segment)) return { kind: "number", number: Number(segment) };
  const code = segment.replace(/[-\s]/g, "").replace(/[ILO]/g, (letter) => LOOK_ALIKE[letter]);
  return { kind: "code", code };
}
