// Packing without a reload: each scan is the page's own form, sent in the background in the order it was read. A scan stays
// in the queue until it is answered, so two scans typed back to back are two, and a lost line loses none.
const form = document.querySelector("[data-scan]");
const field = form?.elements.text;
const place = document.querySelector("[data-fragment]");
const queue = [];
let sending = false;
let sound;

function freshUid() {
  const b = crypto.getRandomValues(new Uint8Array(16));
  b[6] = (b[6] & 0x0f) | 0x40;
  b[8] = (b[8] & 0x3f) | 0x80;
  const h = [...b].map((n) => n.toString(16).padStart(2, "0")).join("");
  return `${h.slice(0, 8)}-${h.slice(8, 12)}-${h.slice(12, 16)}-${h.slice(16, 20)}-${h.slice(20)}`;
}

// Fine is one high tone, look two, stop one low and long.
const TONES = { fine: [[880, 0, 0.09]], look: [[660, 0, 0.09], [660, 0.14, 0.09]], stop: [[196, 0, 0.45]] };
const SHAKES = { fine: 40, look: [60, 60, 60], stop: 400 };

function signal(name) {
  navigator.vibrate?.(SHAKES[name] ?? 0);
  try {
    sound ??= new AudioContext();
    for (const [pitch, start, length] of TONES[name] ?? []) {
      const tone = sound.createOscillator();
      const volume = sound.createGain();
      tone.frequency.value = pitch;
      volume.gain.value = 0.15;
      tone.connect(volume).connect(sound.destination);
      tone.start(sound.currentTime + start);
      tone.stop(sound.currentTime + start + length);
    }
  } catch {
    // no sound on this machine: the words are there
  }
}

function waiting(words) {
  let line = document.querySelector("[data-waiting]");
  if (!line) {
    line = document.createElement("p");
    line.dataset.waiting = "";
    line.setAttribute("role", "status");
    place.before(line);
  }
  line.textContent = words;
  line.hidden = !words;
}

async function send() {
  if (sending) return;
  sending = true;
  while (queue.length) {
    try {
      const answer = await fetch(location.pathname + location.search, {
        method: "POST",
        body: new URLSearchParams(queue[0]),
        headers: { "X-Fragment": "yes" },
        redirect: "manual",
      });
      if (answer.type === "opaqueredirect") {
        location.reload(); // signed out meanwhile: the sign-in page follows
        return;
      }
      if (answer.status >= 500) throw new Error("busy");
      queue.shift();
      waiting("");
      if (!answer.ok) {
        location.reload();
        return;
      }
      place.innerHTML = await answer.text();
      wireUndo();
      signal(answer.headers.get("X-Signal"));
      if (answer.headers.get("X-Go") && !queue.length) {
        location.assign(answer.headers.get("X-Go"));
        return;
      }
    } catch {
      waiting(`${queue.length} not sent yet: no answer from the shop. Keep this page open; it tries again.`);
      await new Promise((done) => setTimeout(done, 2000));
    }
  }
  sending = false;
}

function take(text) {
  const data = Object.fromEntries(new FormData(form));
  queue.push({ ...data, uid: freshUid(), text });
  send();
}

function takeField() {
  const text = field.value.trim();
  field.value = "";
  field.focus();
  if (text) take(text);
}

function wireUndo() {
  place.querySelector("[data-undo]")?.addEventListener("submit", (event) => {
    event.preventDefault();
    take("DO.UNDO");
    field.focus();
  });
}

if (form && field) {
  const inCase = "case" in form.dataset;
  field.addEventListener("keydown", (event) => {
    if (event.key !== "Tab" || event.shiftKey || !field.value.trim()) return;
    event.preventDefault();
    if (inCase) takeField();
    else form.requestSubmit();
  });
  if (inCase) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      takeField();
    });
    wireUndo();
    addEventListener("beforeunload", (event) => {
      if (queue.length) event.preventDefault();
    });
  }
  // A scanner types wherever the cursor is not: bring what it types to the field.
  document.addEventListener("keydown", (event) => {
    const typing = event.target.closest("input, select, textarea, button, a");
    if (!typing && event.key.length === 1 && event.key !== "/" && !event.ctrlKey && !event.metaKey && !event.altKey) field.focus();
  });
  field.focus();
}
