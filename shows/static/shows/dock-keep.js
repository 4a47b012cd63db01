// Have the browser keep the dock for times without a network. A new version takes over only when nothing waits to be sent.

export async function keepThePage({ worker, isIdle }) {
  if (!("serviceWorker" in navigator)) return; // a page that is not secure: it scans on for as long as it stays open
  let registration;
  try {
    registration = await navigator.serviceWorker.register(worker, { scope: "/" });
  } catch {
    return; // the certificate is not trusted: the set-up page says so
  }
  navigator.storage?.persist?.();
  const takeOver = () => registration.waiting && isIdle() && registration.waiting.postMessage("take over");
  registration.addEventListener("updatefound", () => registration.installing?.addEventListener("statechange", takeOver));
  document.addEventListener("visibilitychange", takeOver);
  setInterval(takeOver, 60000);
  takeOver();
}
