// Crosses are moved by a finger, a mouse or the arrow keys; what moves is written into the table, which is what gets saved.
const plan = document.querySelector("[data-plan]");
const form = document.querySelector("[data-stage]");
const unit = Number(plan?.dataset.unit ?? 1000);
const STEP_MM = 100;

const field = (axis, key) => form.querySelector(`[data-${axis}="${key}"]`);
const words = (mm) => String(Math.round((mm / unit) * 100) / 100);

const named = (key) => field("x", key).closest("li").querySelector('[name="place-name"]').value;

let unsaved = false;
function touched() {
  unsaved = true;
  form.querySelector("[data-state]").textContent = "Not saved yet.";
}

function at(hold) {
  return { x: Number(hold.getAttribute("cx")), y: -Number(hold.getAttribute("cy")) };
}

// Move a cross with its letters and its run; mm as the table has them: y upstage.
function move(hold, x, y) {
  const was = at(hold);
  const [dx, dy] = [x - was.x, -(y - was.y)];
  if (!dx && !dy) return;
  const { key } = hold.dataset;
  hold.setAttribute("cx", x);
  hold.setAttribute("cy", -y);
  for (const part of plan.querySelectorAll(`[data-key="${key}"]`)) {
    if (part === hold) continue;
    const names = part.tagName === "text" ? [["x", "y"]] : part.classList.contains("run") ? [["x1", "y1"]] : [["x1", "y1"], ["x2", "y2"]];
    for (const [across, down] of names) {
      part.setAttribute(across, Number(part.getAttribute(across)) + dx);
      part.setAttribute(down, Number(part.getAttribute(down)) + dy);
    }
  }
  // runs that end here
  for (const run of plan.querySelectorAll("line.run")) {
    if (Number(run.getAttribute("x2")) === was.x && Number(run.getAttribute("y2")) === -was.y && run.dataset.key !== key) {
      run.setAttribute("x2", x);
      run.setAttribute("y2", -y);
    }
  }
  field("x", key).value = words(x);
  field("y", key).value = words(y);
  hold.setAttribute("aria-label", `${named(key)}, ${words(x)} across, ${words(y)} upstage`);
  touched();
}

function point(event) {
  const spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(plan.getScreenCTM().inverse());
  return { x: spot.x, y: -spot.y };
}

const snapped = (mm) => Math.round(mm / STEP_MM) * STEP_MM;

if (plan && form) {
  document.querySelector("[data-how]").hidden = false;
  let held = null;
  plan.addEventListener("pointerdown", (event) => {
    const hold = event.target.closest(".hold");
    if (!hold) return;
    event.preventDefault();
    hold.setPointerCapture(event.pointerId);
    hold.classList.add("held");
    hold.focus({ preventScroll: true });
    const from = point(event);
    const was = at(hold);
    held = { hold, off: { x: was.x - from.x, y: was.y - from.y } };
  });
  plan.addEventListener("pointermove", (event) => {
    if (!held) return;
    const { x, y } = point(event);
    move(held.hold, snapped(x + held.off.x), snapped(y + held.off.y));
  });
  const drop = () => {
    held?.hold.classList.remove("held");
    held = null;
  };
  plan.addEventListener("pointerup", drop);
  plan.addEventListener("pointercancel", drop);
  plan.addEventListener("keydown", (event) => {
    const hold = event.target.closest(".hold");
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (!hold || !way) return;
    event.preventDefault();
    const step = event.shiftKey ? 5 * STEP_MM : STEP_MM;
    const { x, y } = at(hold);
    move(hold, x + way[0] * step, y + way[1] * step);
  });
  // what is typed moves the cross
  form.addEventListener("input", (event) => {
    touched();
    const key = event.target.dataset.x ?? event.target.dataset.y;
    const hold = key && plan.querySelector(`.hold[data-key="${key}"]`);
    if (!hold) return;
    const [x, y] = ["x", "y"].map((axis) => Number(field(axis, key).value.replace(",", ".")) * unit);
    if (!Number.isFinite(x) || !Number.isFinite(y) || !field("x", key).value || !field("y", key).value) return;
    const kept = { x: field("x", key).value, y: field("y", key).value };
    move(hold, Math.round(x), Math.round(y));
    [field("x", key).value, field("y", key).value] = [kept.x, kept.y];
  });
  form.addEventListener("submit", () => (unsaved = false));
  addEventListener("beforeunload", (event) => unsaved && event.preventDefault());
}
