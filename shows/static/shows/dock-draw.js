// Drawing on the dock: elements, lettered names, marks kept in templates, a hand's tally.

export function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (value !== null && value !== undefined && value !== false) node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}

export const mark = (name) => document.querySelector(`template[data-mark="${name}"]`)?.content.cloneNode(true) ?? "";

// A unit is never lettered in capitals: 10 m, not 10 M.
export function lettered(name) {
  const at = name.lastIndexOf("\u2009");
  const words = el("span", { class: "name" }, at < 0 ? name : name.slice(0, at));
  if (at >= 0) words.append(el("i", { class: "u" }, name.slice(at)));
  return words;
}

export const spell = (code) => (/^[0-9A-Z]{8}$/i.test(code ?? "") ? `${code.slice(0, 4)}-${code.slice(4)}` : (code ?? ""));

const draw = (strokes, todo) => {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", "0 0 30 24");
  for (const [d, isTodo] of [...strokes.map((s) => [s, false]), ...todo.map((s) => [s, true])]) {
    const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
    path.setAttribute("d", d);
    if (isTodo) path.setAttribute("class", "todo");
    svg.append(path);
  }
  return svg;
};

// Five-bar gates: the same wobble for the same place, so that a redraw does not twitch.
export function gates(done, total) {
  const span = el("span", { class: "gates", "aria-hidden": "true" });
  const wobble = (n, by) => (((Math.sin(n * 12.9898) * 43758.5453) % 1) * by).toFixed(1);
  for (let start = 0; start < Math.min(total, 100); start += 5) {
    const [strokes, todo] = [[], []];
    for (let place = 0; place < Math.min(5, total - start); place += 1) {
      const n = start + place;
      const x = 3 + 7 * place;
      if (n >= done) todo.push(`M${x} 21.5v.3`);
      else if (place === 4) strokes.push(`M${-2 + +wobble(n, 1.2)} ${19.5 + +wobble(n + 1, 1)}L29 ${5 + +wobble(n + 2, 1)}`);
      else strokes.push(`M${x + +wobble(n, 1)} ${2 + +wobble(n + 1, 1)}L${x + +wobble(n + 2, 1)} ${22 + +wobble(n + 3, 1)}`);
    }
    span.append(draw(strokes, todo));
  }
  return span;
}
