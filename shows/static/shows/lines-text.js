// The input list as text between the grid and the server: cells parted by tabs, guarded as every list of this house is.

const SIGNS = "=+\\-@\\t\\r\\n";
const FORMULA = new RegExp(`^'*[${SIGNS}]`);
const GUARDED = new RegExp(`^'+[${SIGNS}]`);

const cell = (text) => {
  const safe = FORMULA.test(text) ? `'${text}` : text;
  return /["\t\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
};

// Split a pasted block. A quotation mark that no other closes before a tab or a line's end is a sign like another.
export function split(text, sign = "\t") {
  const rows = [[]];
  const quoted = new RegExp(`"((?:[^"]|"")*)" *(?=[${sign}\\n]|$)`, "y");
  const plain = new RegExp(`[^${sign}\\n]*`, "y");
  const all = text.replace(/^\ufeff/, "").replace(/\r\n?/g, "\n").replace(/\n$/, "");
  let at = 0;
  for (;;) {
    quoted.lastIndex = plain.lastIndex = at;
    const found = (all[at] === '"' && quoted.exec(all)) || null;
    if (found) rows.at(-1).push(found[1].replaceAll('""', '"'));
    else rows.at(-1).push(plain.exec(all)[0]);
    at = found ? quoted.lastIndex : plain.lastIndex;
    if (at >= all.length) return rows;
    if (all[at] === "\n") rows.push([]);
    at += 1;
  }
}

export const said = (text) => (GUARDED.test(text) ? text.slice(1) : text).split(/\s+/).filter(Boolean).join(" ");

export function write(rows, columns) {
  const lines = [columns.map((column) => column.title).join("\t")];
  for (const row of rows) lines.push(columns.map((column) => cell(row[column.key] || "")).join("\t"));
  return `${lines.join("\n")}\n`;
}

export function read(text, columns) {
  const [, ...rows] = split(text);
  return rows
    .filter((cells) => cells.some((each) => each.trim()))
    .map((cells) => Object.fromEntries(columns.map((column, n) => [column.key, said(cells[n] || "")])));
}

const plain = (text) => text.replaceAll("_", " ").trim().split(/\s+/).join(" ").toLowerCase().replace(/[.:*]+$/, "");

// Say whether a pasted row is headings: two cells or more, and half of those filled, are words of ours.
export function headed(cells, columns) {
  const words = new Map(columns.flatMap((column) => column.words.map((word) => [plain(word), column.key])));
  const filled = cells.map(plain).filter(Boolean);
  const known = new Set(filled.map((word) => words.get(word)).filter(Boolean));
  return known.size >= 2 && known.size * 2 >= filled.length;
}
