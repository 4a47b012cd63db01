// A typed scanner (or a thumb) and its one field: Enter or Tab ends a scan, and focus finds its way back.
// `onEmpty` is what Enter means in the empty field.
export function typedReader(form, field, { onEmpty = () => {} } = {}) {
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
        const asks = event.submitter; // a button beside the field may stand for a text of its own
        if (asks?.name && asks.name === field.name && asks.value) onRead(asks.value);
        else if (!end(event)) onEmpty();
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
