// A label that is not ours, noted at the shop as a stray.
import { kit, token } from "./dock-desk.js";

// Answers with the shop's words; raises where there is no signal.
export async function noted(entry) {
  const body = new URLSearchParams({ csrfmiddlewaretoken: token(), code: entry.code.slice(0, 200), scan: entry.id });
  const answer = await fetch(kit.stray, { method: "POST", body, credentials: "same-origin", headers: { Accept: "application/json" } });
  return (await answer.json()).said;
}
