// Works a form's examples, drawing or curve out anew while one types: the page itself is asked, with do=look, and keeps nothing.
const form = document.querySelector("form[data-look]");
const button = form?.querySelector("[data-look-button]");
if (button) button.hidden = true;

let waiting = 0;
let asking = null;

async function look() {
  asking?.abort();
  asking = new AbortController();
  const given = new FormData(form);
  given.set("do", "look");
  try {
    const answer = await fetch(location.href, { method: "POST", body: given, signal: asking.signal });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const old of document.querySelectorAll("[data-fresh]")) {
      const fresh = page.getElementById(old.id);
      if (fresh && fresh.outerHTML !== old.outerHTML) old.replaceWith(document.adoptNode(fresh));
    }
  } catch (error) {
    if (error.name !== "AbortError" && button) button.hidden = false; // no line: the button asks by hand
  }
}

form?.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(look, 350);
});
