// On every page: scans of this device that are not sent yet. They go from here too, as soon as the shop answers.
const place = document.querySelector("[data-unsent]");
const keys = () => Object.keys(localStorage).filter((key) => key.startsWith("kg.queue."));
const count = () => keys().reduce((sum, key) => sum + (JSON.parse(localStorage.getItem(key) ?? "[]").length || 0), 0);

function draw() {
  const many = count();
  place.hidden = !many;
  place.querySelector("a").textContent = `${many} ${many === 1 ? "scan is" : "scans are"} not sent: kept on this device`;
}

async function send() {
  const { deviceName, localStore, mirror, openQueue } = await import("./dock-queue.js");
  for (const key of keys()) {
    // another person's stay theirs: sent when they sign in here again
    if (key !== `kg.queue.${place.dataset.person}`) continue;
    let token = "";
    const refresh = async () => {
      const answer = await fetch(place.dataset.hello, { credentials: "same-origin", redirect: "error" });
      if (answer.ok) token = (await answer.json()).token;
    };
    await refresh().catch(() => {});
    openQueue({ url: "/api/scans", device: deviceName(), token: () => token, refresh, store: localStore(key), second: mirror(key), onAnswers: draw, onState: draw }).releaseAll();
  }
}

try {
  if (place && count()) {
    draw();
    send();
  }
} catch {
  // a browser that keeps nothing has nothing that is not sent
}
