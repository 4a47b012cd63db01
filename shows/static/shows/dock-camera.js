// The phone's camera as a reader: a reader is anything with start(onRead). Fetched when the camera is opened first.
import { $, kit } from "./dock-desk.js";
import { el } from "./dock-draw.js";
import { warn } from "./dock-hit.js";

const UNSEEN_MS = 3000; // a code must be out of view so long before it counts again
const EVERY_MS = 90; // more pictures a second read no more codes, and warm the phone
const NOTHING_MS = 6000;
const LENS = "kg.lens";
const MANY = "kg.many";

// The picture goes where the viewfinder is; onRead(text) is told each code.
export function camera(onRead) {
  const box = document.querySelector(".finder");
  const video = el("video", { class: "see", playsinline: true, muted: true, "aria-hidden": "true" });
  const marks = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  marks.setAttribute("class", "seen");
  marks.setAttribute("aria-hidden", "true");
  const hint = el("p", { class: "see-hint stamp", role: "status" });
  const light = key("Light", () => turnLight());
  const many = key("One", () => turnMany());
  const lens = key("Lens", () => nextLens());
  const closer = key("Closer", () => turnZoom());
  const bar = el("div", { class: "see-keys" }, light, many, lens, closer, key("Close", () => close()));
  const seen = new Map(); // text -> when it was last in view
  let worker = null;
  let track = null;
  let lock = null;
  let isBusy = false;
  let isOpen = false;
  let count = 0;
  let readAt = 0;
  let isMany = localStorage.getItem(MANY) === "yes";
  let loop = 0;
  const times = { frames: 0, decode: 0 };

  function key(word, act) {
    return el("button", { type: "button", class: "strip key-word", onclick: act }, el("span", { class: "name" }, word));
  }

  async function open() {
    if (isOpen) return;
    isOpen = true;
    box.classList.add("seeing");
    box.append(video, marks, hint, bar);
    say("Opening the camera ...");
    worker ??= begin();
    if (!(await take())) return;
    $("camera").setAttribute("aria-pressed", "true");
    readAt = Date.now();
    drawMany();
    stayAwake();
    look();
  }

  function begin() {
    const made = new Worker(kit.decoder);
    made.postMessage({ library: new URL(kit.library, location.href).href, wasm: new URL(kit.wasm, location.href).href });
    made.onmessage = ({ data }) => {
      if (data.broken && !data.codes) return close("The decoder could not be loaded: type the code, or open the page again where there is signal.");
      if (data.ready) return undefined;
      isBusy = false;
      times.frames += 1;
      times.decode += data.ms;
      if (isOpen) found(data.codes);
      return undefined;
    };
    made.onerror = () => close("The decoder could not be loaded: type the code instead.");
    return made;
  }

  async function take() {
    const wanted = localStorage.getItem(LENS);
    const sizes = { width: { ideal: 1280 }, height: { ideal: 720 } };
    for (const asked of [wanted && { deviceId: { exact: wanted }, ...sizes }, { facingMode: { ideal: "environment" }, ...sizes }, true].filter(Boolean)) {
      try {
        const stream = await navigator.mediaDevices.getUserMedia({ video: asked, audio: false });
        if (!isOpen) {
          stream.getTracks().forEach((one) => one.stop());
          return false;
        }
        [track] = stream.getVideoTracks();
        track.onended = () => isOpen && document.visibilityState === "visible" && again();
        video.srcObject = stream;
        await video.play();
        const can = track.getCapabilities?.() ?? {};
        if (can.focusMode?.includes("continuous")) track.applyConstraints({ advanced: [{ focusMode: "continuous" }] }).catch(() => {});
        light.hidden = !can.torch;
        closer.hidden = !can.zoom;
        lens.hidden = (await lenses()).length < 2;
        say(isMany ? "Lay the case open: every code in view is read." : "Hold a label in the middle, a hand's length away.");
        return true;
      } catch (error) {
        if (error.name === "NotAllowedError" || error.name === "SecurityError") {
          close("The camera is not allowed: allow it for this page in the browser's settings.");
          return false;
        }
      }
    }
    close("No camera answers. Another program may hold it.");
    return false;
  }

  // A picture at a time: the next one when the last is read.
  function look() {
    clearTimeout(loop);
    if (!isOpen) return;
    loop = setTimeout(look, EVERY_MS);
    if (isBusy || video.readyState < 2 || document.visibilityState !== "visible") return;
    isBusy = true;
    count += 1;
    picture().then(
      (data) => worker.postMessage({ picture: data, one: !isMany, count }, data instanceof ImageBitmap ? [data] : []),
      () => (isBusy = false),
    );
    if (Date.now() - readAt > NOTHING_MS) say("Nothing read: hold it a hand's length away, flat, and give it light.");
  }

  const plain = document.createElement("canvas");
  async function picture() {
    if (typeof OffscreenCanvas === "function") return createImageBitmap(video);
    // browsers that draw on the page alone
    [plain.width, plain.height] = [video.videoWidth, video.videoHeight];
    const pen = plain.getContext("2d", { willReadFrequently: true });
    pen.drawImage(video, 0, 0);
    return pen.getImageData(0, 0, plain.width, plain.height);
  }

  function found(codes) {
    const now = Date.now();
    const shown = isMany ? codes : codes.sort((a, b) => fromMiddle(a) - fromMiddle(b)).slice(0, 1);
    outline(shown);
    for (const { text } of shown) {
      const last = seen.get(text) ?? -Infinity;
      seen.set(text, now);
      if (now - last < UNSEEN_MS) continue;
      readAt = now;
      say("");
      onRead(text);
    }
    for (const [text, at] of seen) if (now - at > UNSEEN_MS * 4) seen.delete(text);
  }

  const fromMiddle = ({ corners }) => {
    const [x, y] = [0, 1].map((axis) => corners.reduce((sum, one) => sum + one[axis], 0) / 4);
    return Math.hypot(x - video.videoWidth / 2, y - video.videoHeight / 2);
  };

  function outline(codes) {
    marks.setAttribute("viewBox", `0 0 ${video.videoWidth || 1} ${video.videoHeight || 1}`);
    marks.setAttribute("preserveAspectRatio", "xMidYMid slice");
    marks.replaceChildren(...codes.map(({ corners }) => {
      const shape = document.createElementNS("http://www.w3.org/2000/svg", "polygon");
      shape.setAttribute("points", corners.map((one) => one.join(",")).join(" "));
      return shape;
    }));
  }

  function close(words = "") {
    clearTimeout(loop);
    isOpen = false;
    isBusy = false;
    track?.stop();
    track = null;
    video.srcObject = null;
    lock?.release().catch(() => {});
    lock = null;
    seen.clear();
    for (const part of [video, marks, hint, bar]) part.remove();
    box.classList.remove("seeing");
    $("camera").setAttribute("aria-pressed", "false");
    if (words) warn("No camera", words);
    $("code").focus({ preventScroll: true });
  }

  async function again() {
    if (!isOpen) return;
    track?.stop();
    isBusy = false;
    if (await take()) {
      stayAwake();
      look();
    }
  }

  async function stayAwake() {
    try {
      lock = (await navigator.wakeLock?.request("screen")) ?? null;
    } catch {
      lock = null; // the phone saves power: it dims as it always does
    }
  }

  async function turnLight() {
    const on = light.getAttribute("aria-pressed") !== "true";
    try {
      await track.applyConstraints({ advanced: [{ torch: on }] });
      light.setAttribute("aria-pressed", String(on));
    } catch {
      say("This lens has no light.");
    }
  }

  async function turnZoom() {
    const { zoom } = track.getCapabilities();
    const wanted = closer.getAttribute("aria-pressed") === "true" ? zoom.min : Math.min(zoom.max, 2 * zoom.min);
    await track.applyConstraints({ advanced: [{ zoom: wanted }] }).catch(() => {});
    closer.setAttribute("aria-pressed", String(wanted > zoom.min));
  }

  function turnMany() {
    isMany = !isMany;
    localStorage.setItem(MANY, isMany ? "yes" : "no");
    drawMany();
    say(isMany ? "Lay the case open: every code in view is read." : "Hold a label in the middle.");
  }

  function drawMany() {
    many.firstElementChild.textContent = "All in view";
    many.setAttribute("aria-pressed", String(isMany));
    box.classList.toggle("aims", !isMany);
  }

  const lenses = async () => (await navigator.mediaDevices.enumerateDevices()).filter(({ kind }) => kind === "videoinput");

  async function nextLens() {
    const all = await lenses();
    const at = all.findIndex(({ deviceId }) => deviceId === track?.getSettings().deviceId);
    const next = all[(at + 1) % all.length];
    if (!next) return;
    localStorage.setItem(LENS, next.deviceId);
    await again();
    say(next.label);
  }

  const say = (words) => {
    if (hint.textContent !== words) hint.textContent = words;
  };

  document.addEventListener("visibilitychange", () => {
    if (!isOpen || document.visibilityState !== "visible") return;
    // after the phone slept the picture often stands still: taken anew
    if (!track || track.readyState === "ended" || track.muted) again();
    else {
      video.play().catch(() => again());
      stayAwake();
      look();
    }
  });
  addEventListener("pagehide", () => isOpen && close());

  return { open, close, isOpen: () => isOpen, times: () => ({ ...times }) };
}
