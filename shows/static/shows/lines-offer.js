// What a cell could hold, offered under it while one types: arrows choose, Enter takes, Escape closes, a tap takes.

const MOST = 8;

export function offers(home) {
  const list = document.createElement("ul");
  list.className = "offers";
  list.id = "offers";
  list.setAttribute("role", "listbox");
  list.setAttribute("aria-label", "What could stand here");
  list.hidden = true;
  home.append(list);
  let input = null;
  let take = null;
  let at = -1;

  const draw = (names) => {
    list.replaceChildren(
      ...names.map((name, n) => {
        const one = document.createElement("li");
        one.id = `offer-${n}`;
        one.setAttribute("role", "option");
        one.textContent = name;
        one.dataset.name = name;
        return one;
      }),
    );
  };

  const point = (n) => {
    at = n;
    [...list.children].forEach((one, m) => one.setAttribute("aria-selected", String(m === n)));
    if (n >= 0) {
      input.setAttribute("aria-activedescendant", `offer-${n}`);
      list.children[n].scrollIntoView({ block: "nearest" });
    } else input?.removeAttribute("aria-activedescendant");
  };

  const close = () => {
    list.hidden = true;
    input?.setAttribute("aria-expanded", "false");
    point(-1);
    input = null;
  };

  // a press keeps the focus in the cell, so that nothing is written before the choice is
  list.addEventListener("pointerdown", (event) => event.preventDefault());
  list.addEventListener("click", (event) => {
    const one = event.target.closest("[role=option]");
    if (one && take) take(one.dataset.name);
  });

  return {
    close,
    get open() {
      return !list.hidden;
    },
    get chosen() {
      return at >= 0 && !list.hidden ? list.children[at].dataset.name : "";
    },
    // `closed`: nothing but these may stand here, so the only one left is what Enter takes
    show(cell, names, typed, onTake, closed = false) {
      const want = typed.toLowerCase().trim();
      const words = want.split(/\s+/);
      const low = names.map((name) => [name, name.toLowerCase()]);
      const starts = low.filter(([, name]) => name.startsWith(want)).map(([name]) => name);
      const holds = low.filter(([, name]) => words.every((word) => name.includes(word))).map(([name]) => name);
      const found = want ? [...new Set([...starts, ...holds])].slice(0, MOST) : names;
      if (!found.length || (found.length === 1 && found[0].toLowerCase() === want)) return close();
      if (input && input !== cell) close();
      input = cell;
      take = onTake;
      draw(found);
      list.hidden = false;
      const box = cell.getBoundingClientRect();
      const below = window.innerHeight - box.bottom;
      list.style.left = `${Math.max(4, Math.min(box.left, window.innerWidth - list.offsetWidth - 4))}px`;
      list.style.minWidth = `${box.width}px`;
      const above = below < Math.min(list.offsetHeight, 220) && box.top > below;
      list.style.top = above ? `${Math.max(4, box.top - list.offsetHeight)}px` : `${box.bottom}px`;
      cell.setAttribute("aria-expanded", "true");
      point(closed && want && found.length === 1 ? 0 : -1);
      return undefined;
    },
    step(by) {
      const count = list.children.length;
      point(at < 0 ? (by > 0 ? 0 : count - 1) : (at + by + count) % count);
    },
  };
}
