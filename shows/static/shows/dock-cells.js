// What ran on its cells came back: it was not used after all, or a lead was left in it. A quiet offer: scanning goes on.
import { kit, token } from "./dock-desk.js";
import { beside } from "./dock-hit.js";
import { uuid4 } from "./dock-queue.js";

export function cellChoices(item, told) {
  const tell = (what) => async () => {
    const body = new URLSearchParams({ csrfmiddlewaretoken: token(), code: item.code, do: what, uid: uuid4() });
    try {
      const answer = await fetch(kit.cells, { method: "POST", body, credentials: "same-origin", headers: { Accept: "application/json" } });
      told((await answer.json()).said);
    } catch {
      told("Not noted: there is no signal. Say it on its own page later.");
    }
  };
  const asked = [["Not used", tell("unused")]];
  if (item.jack) asked.push(["A lead was left in", tell("left in")]);
  return [beside(...asked)];
}
