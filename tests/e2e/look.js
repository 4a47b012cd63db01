// Says what is wrong with the page that is open: each entry a sentence a person can act on.
(dock) => {
  const said = [];
  const all = (what) => [...document.querySelectorAll(what)];
  const words = (one) =>
    (one.getAttribute("aria-label") || one.textContent || "").trim().replace(/\s+/g, " ").slice(0, 40);
  const seen = (one) => {
    const box = one.getBoundingClientRect();
    return box.width > 1 && box.height > 1 && one.checkVisibility() && !one.closest(".out-of-sight, .skip");
  };
  // a link among words, itself or what it is set bold in, is read as part of them and may be as high as a line
  const inSentence = (one) => {
    if (one.tagName !== "A") return false;
    for (let part = one; getComputedStyle(part).display === "inline"; part = part.parentElement) {
      const beside = [...part.parentElement.childNodes].filter((node) => node !== part);
      if (beside.some((node) => node.nodeType !== Node.COMMENT_NODE && node.textContent.trim())) return true;
    }
    return false;
  };

  if (!document.documentElement.lang) said.push("no language");
  if (all("h1").length !== 1) said.push(`${all("h1").length} h1`);
  let level = 0;
  for (const heading of all("h1, h2, h3, h4, h5, h6")) {
    const next = Number(heading.tagName[1]);
    if (level && next > level + 1) said.push(`heading jumps: ${words(heading)}`);
    level = next;
  }
  for (const field of all("input:not([type=hidden]), select, textarea")) {
    const named = field.labels.length || field.getAttribute("aria-label") || field.getAttribute("aria-labelledby");
    if (!named) said.push(`no label: ${field.name || field.id}`);
  }
  for (const image of all("img")) if (!image.hasAttribute("alt")) said.push(`no alt: ${image.src}`);
  for (const one of all("button, a[href], summary")) if (!words(one)) said.push(`no name: ${one.outerHTML.slice(0, 80)}`);
  // what the chart's script sets through the CSSOM the policy allows; nothing we write may have one
  const styled = all("[style]").filter((one) => !one.closest(".uplot"));
  if (styled.length) said.push(`style attributes: ${styled[0].outerHTML.slice(0, 80)}`);
  const ids = all("[id]").map((one) => one.id);
  const twice = ids.filter((id, place) => ids.indexOf(id) !== place);
  if (twice.length) said.push(`ids twice: ${twice}`);

  const targets = "button, a[href], summary, select, textarea, input:not([type=hidden], [type=checkbox], [type=radio])";
  for (const one of all(targets)) {
    if (!seen(one) || inSentence(one)) continue;
    const height = (one.closest(".way .strip") ?? one).getBoundingClientRect().height;
    const least = dock && one.closest(".undo-bar, .choose, .way") ? 56 : 44;
    if (height < least - 0.5) said.push(`${Math.round(height)} px high: ${words(one) || one.name}`);
  }
  return said;
}
