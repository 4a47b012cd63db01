// Try what this phone can do, one thing after another, and say of each what it means for scanning.
const list = document.querySelector("[data-checks]");

function tell(name, works, words, more = "") {
  const row = list.querySelector(`[data-check=${name}]`);
  row.querySelector(".strip").dataset.standing = works ? "known-good" : "suspect";
  row.querySelector(".code").textContent = words;
  row.querySelector("p").textContent = more;
  return row;
}

const checks = {
  secure() {
    if (window.isSecureContext) return tell("secure", true, "yes");
    return tell("secure", false, "no", "Do the steps above once, then open the secure page. Typing and hand scanners work here too.");
  },

  camera() {
    if (!navigator.mediaDevices?.getUserMedia) {
      return tell("camera", false, "not here", window.isSecureContext ? "This browser gives pages no camera." : "A page must be secure for it.");
    }
    const row = tell("camera", true, "can be asked for", "The phone asks you once whether this page may use it.");
    const button = row.querySelector("button");
    button.hidden = false;
    button.onclick = async () => {
      try {
        const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: { ideal: "environment" } } });
        const [track] = stream.getVideoTracks();
        const { width, height } = track.getSettings();
        tell("camera", true, "works", `${track.label || "Camera"}, ${width} by ${height}.`);
        stream.getTracks().forEach((each) => each.stop());
      } catch (error) {
        const denied = error.name === "NotAllowedError";
        tell("camera", false, denied ? "not allowed" : "none found", denied ? "Allow it in the browser's settings for this page." : "Another program may hold it.");
      }
    };
  },

  async offline() {
    if (!("serviceWorker" in navigator)) {
      return tell("offline", false, "no", window.isSecureContext ? "This browser cannot keep a page." : "A page must be secure for it. Keep the dock page open: what you scan is still kept.");
    }
    try {
      await navigator.serviceWorker.register(list.dataset.worker, { scope: "/" });
      await navigator.serviceWorker.ready;
      tell("offline", true, "yes", "The dock opens without a network from now on.");
    } catch {
      tell("offline", false, "no", "The phone does not trust this page's certificate: do the second step, do not click a warning away.");
    }
  },

  async storage() {
    try {
      await kept();
    } catch {
      return tell("storage", false, "no", "Private browsing or a full phone: what is not sent is lost when the page closes.");
    }
    const stays = (await navigator.storage?.persisted?.()) || (await navigator.storage?.persist?.());
    return tell("storage", true, "yes", stays ? "The phone has promised not to clear it." : "The phone may clear it after weeks without use: send before you put it away.");
  },

  async awake() {
    try {
      const lock = await navigator.wakeLock.request("screen");
      await lock.release();
      tell("awake", true, "yes", "While the camera is open.");
    } catch {
      tell("awake", false, "no", "Set a long screen time-out for the load-in.");
    }
  },

  buzz() {
    if (navigator.vibrate) return tell("buzz", true, "yes");
    return tell("buzz", false, "no", "Listen for the tones instead: one high, two even, three low.");
  },
};

// Write a row where the dock keeps its scans, and read it back.
function kept() {
  return new Promise((done, failed) => {
    const opening = indexedDB.open("kg.try", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("rows");
    opening.onerror = () => failed(opening.error);
    opening.onsuccess = () => {
      const base = opening.result;
      const writing = base.transaction("rows", "readwrite");
      writing.objectStore("rows").put("kept", "row");
      writing.oncomplete = () => {
        base.close();
        indexedDB.deleteDatabase("kg.try");
        done();
      };
      writing.onabort = writing.onerror = () => failed(writing.error);
    };
  });
}

list.hidden = false;
for (const check of Object.values(checks)) await check();
list.dataset.done = "yes";
