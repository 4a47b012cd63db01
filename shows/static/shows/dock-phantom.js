// A box that runs on phantom is in the hand while its show is set up or under way: phantom is seen at it, or not after all.
import { token } from "./dock-desk.js";
import { beside } from "./dock-hit.js";

export function phantomChoices(item, told) {
  const { phantom } = item;
  const tell = async () => {
    const body = new URLSearchParams({ csrfmiddlewaretoken: token(), do: phantom.seen ? "no" : "yes" });
    try {
      const answer = await fetch(phantom.url, { method: "POST", body, credentials: "same-origin", headers: { Accept: "application/json" } });
      const { said, seen } = await answer.json();
      item.phantom = { ...phantom, seen }; // a look may have come meanwhile, from before the tap
      told(said);
    } catch {
      told("Not noted: there is no signal. Tick it on the swap list later.");
    }
  };
  return [beside([phantom.seen ? "Not seen after all" : "Phantom seen at it", tell])];
}
