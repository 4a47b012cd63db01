// Scans carried out by hand where no network comes: a file, or a row of QR codes that the shop's laptop reads.
import { el } from "./dock-draw.js";

const PER_CODE = 480; // of capitals and digits: a code that a laptop's camera still reads off a phone
const LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";

const key = (word, act) => el("button", { type: "button", class: "strip plain", onclick: act }, el("span", { class: "name" }, word));

// What waits, to be taken along one way or the other.
export function offer(panel, given) {
  const shown = el("div", { class: "carry" });
  const show = (...parts) => {
    shown.replaceChildren(...parts);
    shown.scrollIntoView({ block: "end" });
  };
  panel.open(
    `${given.scans.length} to carry to the shop`,
    el("p", {}, "On the shop's laptop: The shop, Take in scans. They stay here too until the shop has answered this phone."),
    el("div", { class: "say-keys" }, key("Save as a file", () => show(saved(given))), key("Show as codes", async () => show(...(await codes(given))))),
    shown,
  );
}

const file = ({ device, offset, scans }) => JSON.stringify({ format: "knowngood scans 1", device, offset_ms: offset, scans });

function base32(bytes) {
  let [bits, held, text] = [0, 0, ""];
  for (const byte of bytes) {
    held = (held << 8) | byte;
    bits += 8;
    while (bits >= 5) {
      text += LETTERS[(held >>> (bits - 5)) & 31];
      bits -= 5;
    }
    held &= (1 << bits) - 1;
  }
  return bits ? text + LETTERS[(held << (5 - bits)) & 31] : text;
}

// As shows/calc/carry.py has it.
export async function texts(given) {
  const stream = new Blob([file(given)]).stream().pipeThrough(new CompressionStream("deflate"));
  const packed = base32(new Uint8Array(await new Response(stream).arrayBuffer()));
  const batch = base32(crypto.getRandomValues(new Uint8Array(5)));
  const many = Math.max(1, Math.ceil(packed.length / PER_CODE));
  return Array.from({ length: many }, (_, n) => `CARRY.${batch}.${n + 1}.${many}.${packed.slice(n * PER_CODE, (n + 1) * PER_CODE)}`);
}

function saved(given) {
  const name = `scans-${new Date().toISOString().slice(0, 16).replace(/[:T]/g, "-")}.json`;
  const link = el("a", { href: URL.createObjectURL(new Blob([file(given)], { type: "application/json" })), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  return el("p", { role: "status" }, `${name} is among this phone's downloads: bring it to the shop's laptop.`);
}

// The codes one after another, each to be read off the screen; drawn here, for there is no network.
async function codes(given) {
  const [drawing, all] = await Promise.all([import("./vendor/qrcode/qrcode.js").catch(() => null), texts(given)]);
  if (!drawing) return [el("p", { role: "status" }, "What draws codes is not on this phone: save a file instead.")];
  const qrcode = drawing.default;
  let at = 0;
  const place = el("div", { class: "carry-code" });
  const words = el("p", { class: "stamp", role: "status" });
  const draw = () => {
    const code = qrcode(0, "M");
    code.addData(all[at], "Alphanumeric");
    code.make();
    place.replaceChildren(new DOMParser().parseFromString(code.createSvgTag({ cellSize: 4, margin: 16, scalable: true }), "image/svg+xml").documentElement);
    words.textContent = `Code ${at + 1} of ${all.length}`;
  };
  const step = (by) => () => {
    at = (at + by + all.length) % all.length;
    draw();
  };
  draw();
  return [place, words, ...(all.length > 1 ? [el("p", { class: "say-keys" }, key("Before", step(-1)), key("Next code", step(1)))] : [])];
}
