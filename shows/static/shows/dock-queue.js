// Scans wait here until the server has answered for each. They are kept twice: at once where two pages of one browser read them
// alike, and a moment later, written through to the disk, where a phone that dies finds them again.

export function localStore(key) {
  return {
    read() {
      try {
        return JSON.parse(localStorage.getItem(key)) ?? [];
      } catch {
        return [];
      }
    },
    write(scans) {
      try {
        localStorage.setItem(key, JSON.stringify(scans));
        return true;
      } catch {
        return false;
      }
    },
  };
}

// The second place. Each scan is a row; what was answered is taken out. Nothing here is ever waited for.
export function mirror(key) {
  const opened = new Promise((done) => {
    try {
      const opening = indexedDB.open(key, 1);
      opening.onupgradeneeded = () => {
        opening.result.createObjectStore("scans", { keyPath: "body.id" });
        opening.result.createObjectStore("sent", { keyPath: "body.id" }).createIndex("at", "at");
      };
      opening.onsuccess = () => done(opening.result);
      opening.onerror = opening.onblocked = () => done(null);
    } catch {
      done(null);
    }
  });
  const write = async (act, store = "scans") => {
    const base = await opened;
    if (!base) return;
    try {
      act(base.transaction(store, "readwrite", { durability: "strict" }).objectStore(store));
    } catch {
      // the first place has it
    }
  };
  const all = async (store, since) => {
    const base = await opened;
    if (!base) return [];
    return new Promise((done) => {
      const rows = base.transaction(store).objectStore(store);
      const asking = since === undefined ? rows.getAll() : rows.index("at").getAll(IDBKeyRange.lowerBound(since, true));
      asking.onsuccess = () => done(asking.result);
      asking.onerror = () => done([]);
    });
  };
  return {
    put: (scans) => write((rows) => scans.forEach((scan) => rows.put(scan))),
    drop: (ids) => write((rows) => ids.forEach((id) => rows.delete(id))),
    all: () => all("scans"),
    // Kept for a while after they were answered: a shop that is put back from an older backup has not heard of them.
    answered: (scans) =>
      write((rows) => {
        const old = rows.index("at").openCursor(IDBKeyRange.upperBound(Date.now() - REMEMBER_MS));
        old.onsuccess = () => {
          old.result?.delete();
          old.result?.continue();
        };
        scans.forEach((scan) => rows.put({ ...scan, at: Date.now() }));
      }, "sent"),
    sent: (since) => all("sent", since),
  };
}

const MOST = 200;
const REMEMBER_MS = 14 * 86400000;
const SLOWEST_MS = 30000;

// add(scan, {held}) keeps a scan; release(id, changes) lets a held one go; onAnswers(results, scans) and onState(state) tell.
// A scan leaves the queue only when an answer with its id has come. The same ids may be sent any number of times.
// `refresh` fetches a new token: a page kept for days has an old one.
export function openQueue({ url, device, token, refresh, store, second, onAnswers, onState }) {
  let scans = store.read();
  let isStored = true;
  let sending = false;
  let most = MOST;
  let wait = 0;
  let timer;
  let state = "fine";

  const tell = (now) => {
    state = now;
    onState({ state, waiting: scans.length });
  };
  // Read, change, write in one go: two pages of one browser share the store, and neither may write over the other's scans.
  const change = (edit) => {
    if (isStored) scans = store.read();
    scans = edit(scans);
    isStored = store.write(scans);
    if (!isStored) tell("not kept");
  };
  const sent = async (since) => ((await second?.sent(since)) ?? []).sort((a, b) => a.body.seq - b.body.seq);
  const isDown = () => ["no signal", "no answer", "sign in"].includes(state);

  async function flush() {
    clearTimeout(timer);
    if (sending) return;
    const batch = [];
    // In order: a held scan holds back what was scanned after it of the same thing only, so nothing overtakes itself.
    const blocked = new Set();
    for (const scan of scans) {
      if (scan.held) blocked.add(scan.body.code);
      else if (!blocked.has(scan.body.code) && batch.length < most) batch.push(scan);
    }
    if (!batch.length) {
      tell(scans.length ? state : "fine");
      return;
    }
    sending = true;
    let again = true;
    const later = (now, least = 1000) => {
      wait = Math.min(Math.max(wait * 2, least), SLOWEST_MS);
      tell(now);
    };
    try {
      if (isDown()) await refresh?.();
      const answer = await fetch(url, {
        method: "POST",
        credentials: "same-origin",
        headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
        body: JSON.stringify({ device, sent_at: new Date().toISOString(), scans: batch.map((scan) => scan.body) }),
        signal: AbortSignal.timeout(20000),
      });
      if (answer.ok) {
        const { results } = await answer.json();
        const answered = new Map(results.map((result) => [result.id, result]));
        const settled = batch.filter((scan) => answered.has(scan.body.id));
        change((all) => all.filter((scan) => !answered.has(scan.body.id)));
        second?.drop([...answered.keys()]);
        second?.answered(settled.map(({ body }) => ({ body, moved: !["refused", "unknown"].includes(answered.get(body.id).outcome) })));
        wait = 0;
        most = MOST;
        tell("fine");
        onAnswers(settled.map((scan) => answered.get(scan.body.id)), settled.map((scan) => scan.body));
        again = scans.some((scan) => !scan.held);
      } else if (answer.status === 413 || answer.status === 422) {
        // Halve and send again, never discard. One scan alone that is still refused steps aside for the rest.
        if (batch.length > 1) {
          most = Math.ceil(batch.length / 2);
          tell("refused");
        } else {
          const { id } = batch[0].body;
          change((all) => [...all.filter((scan) => scan.body.id !== id), ...all.filter((scan) => scan.body.id === id)]);
          later("refused", 4000);
        }
      } else if (answer.status === 401 || answer.status === 403) later("sign in", SLOWEST_MS);
      else later("no answer");
    } catch {
      later("no signal");
    } finally {
      sending = false;
      if (again) timer = setTimeout(flush, wait ? wait + Math.random() * 500 : 0);
    }
  }

  const flushNow = () => {
    wait = 0;
    flush();
  };
  addEventListener("online", flushNow);
  addEventListener("pageshow", flushNow);
  addEventListener("focus", flushNow);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && flushNow());

  return {
    add(body, { held = false } = {}) {
      change((all) => [...all, { body, held }]);
      second?.put([{ body, held }]);
      if (state !== "fine") tell(state);
      if (!held) flush();
    },
    release(id, changes = {}) {
      if (!scans.some((one) => one.body.id === id)) return false;
      change((all) => all.map((one) => (one.body.id === id ? { body: { ...one.body, ...changes }, held: false } : one)));
      second?.put(scans.filter((one) => one.body.id === id));
      flush();
      return true;
    },
    // What was held when the page was closed goes as it stands: vouched, with no count.
    releaseAll() {
      change((all) => all.map((one) => ({ ...one, held: false })));
      flush();
    },
    // A held scan that turns out to be no scan of that kind: another takes its place.
    drop(id) {
      change((all) => all.filter((one) => !(one.body.id === id && one.held)));
      second?.drop([id]);
    },
    // What a scan says beside itself, while it still waits.
    amend(id, changes) {
      change((all) => all.map((one) => (one.body.id === id ? { ...one, body: { ...one.body, ...changes } } : one)));
    },
    // What the second place kept and the first one lost: the browser cleared it, or the phone died between the two.
    async recover() {
      const kept = (await second?.all()) ?? [];
      const lost = kept.filter((one) => !scans.some((scan) => scan.body.id === one.body.id));
      if (lost.length) change((all) => [...all, ...lost.filter((one) => !all.some((scan) => scan.body.id === one.body.id))]);
      return lost.length;
    },
    // The shop does not know the last scan it answered: it was put back from an older backup, and gets them all again.
    async sendAgain() {
      const again = await sent();
      change((all) => [...again.filter((one) => !all.some((scan) => scan.body.id === one.body.id)).map(({ body }) => ({ body, held: false })), ...all]);
      flush();
      return again.length;
    },
    // What was answered after an instant (ms), in order, and moved something.
    sentSince: async (instant) => (await sent(instant)).filter(({ moved }) => moved !== false).map(({ body }) => body),
    lastSent: async () => (await sent()).sort((a, b) => b.at - a.at)[0]?.body.id ?? "",
    // Answered somewhere else: carried out as a file and taken in at the shop.
    settled(ids) {
      change((all) => all.filter((one) => !ids.has(one.body.id)));
      second?.drop([...ids]);
    },
    bodies: () => scans.map((one) => one.body),
    isDown,
    has: (id) => scans.some((scan) => scan.body.id === id),
  };
}

export function uuid4() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
}

// This device's name, for as long as the browser keeps it.
export function deviceName() {
  let name = localStorage.getItem("kg.device");
  if (!name) {
    name = `web:${uuid4()}`;
    localStorage.setItem("kg.device", name);
  }
  return name;
}

export function nextSeq() {
  const seq = Number(localStorage.getItem("kg.seq") ?? 0) + 1;
  localStorage.setItem("kg.seq", String(seq));
  return seq;
}
