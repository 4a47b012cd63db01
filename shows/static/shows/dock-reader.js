// Readers feed the page with texts. A reader is anything with start(onRead) and focus(); a camera is another one.

// A typed scanner (or a thumb) and its one field: Enter or Tab ends a scan, and focus finds its way back.
export function typedReader(form, field) {
  let onRead = () => {};

  const end = (event) => {
    const text = field.value;
    if (!text.trim()) return false;
    event?.preventDefault();
    field.value = "";
    onRead(text);
    return true;
  };

  // A scanner types wherever the focus is: the first character brings it home before it is written.
  const homing = (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.key.length !== 1) return;
    const at = document.activeElement;
    if (at === field || at?.closest("input, textarea, select")) return;
    if (event.key === " " && at?.closest("button, a, summary")) return;
    field.focus();
  };

  return {
    start(callback) {
      onRead = callback;
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        end(event);
        field.focus();
      });
      field.addEventListener("keydown", (event) => {
        // Several scans can arrive in one paste or without a pause: each line end is an end.
        if (event.key === "Tab" && !event.shiftKey) end(event);
      });
      field.addEventListener("paste", (event) => {
        const lines = (event.clipboardData?.getData("text") ?? "").split(/[\r\n\t]+/).filter((line) => line.trim());
        if (lines.length < 2) return;
        event.preventDefault();
        field.value = "";
        lines.forEach((line) => onRead(line));
      });
      document.addEventListener("keydown", homing, true);
      // A tap on a button must not take the focus from the scanner; a keyboard still can.
      document.addEventListener("pointerdown", (event) => {
        if (event.target.closest("button, .strip, label") && !event.target.closest("input, select, textarea")) event.preventDefault();
      });
      document.addEventListener("mousedown", (event) => {
        if (event.target.closest("button, .strip, label") && !event.target.closest("input, select, textarea")) event.preventDefault();
      });
      document.addEventListener("click", (event) => {
        if (!event.target.closest("input, select, textarea, a, label")) this.focus();
      });
      addEventListener("focus", () => this.focus());
      this.focus();
    },
    focus() {
      const at = document.activeElement;
      if (!at || at === document.body || !at.closest("input, select, textarea")) field.focus({ preventScroll: true });
    },
  };
}

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
