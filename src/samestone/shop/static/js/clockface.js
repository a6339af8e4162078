// A tap on the clock face becomes (r, angle): r in girdle radii, the angle in degrees counter-clockwise from 3 o'clock.
const clock = document.querySelector("[data-tap]");
const form = document.querySelector("[data-mark-form]");
const svg = clock?.querySelector("svg");

function place(event) {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  const radius = Number(svg.dataset.radius || 100);
  const angle = (Math.atan2(-point.y, point.x) * 180) / Math.PI;
  return { x: point.x, y: point.y, r: Math.hypot(point.x, point.y) / radius, angle: (angle + 360) % 360 };
}

function show(at, className = "tap") {
  const dot = document.createElementNS("http://www.w3.org/2000/svg", "circle");
  for (const [name, value] of Object.entries({ cx: at.x, cy: at.y, r: 7, class: className })) dot.setAttribute(name, value);
  svg.append(dot);
  return dot;
}

function chosen() {
  return form.querySelector("[name=place]:checked") || form.querySelector("[name=place]");
}

// The kind that was chosen stays chosen after the tap has loaded the page again.
const kept = `placing:${location.pathname}`;
function keepChosen() {
  form.addEventListener("change", ({ target }) => target.name === "place" && sessionStorage.setItem(kept, target.value));
  const before = form.querySelector(`[type=radio][name=place][value="${Number(sessionStorage.getItem(kept) || 0)}"]`);
  if (before) before.checked = true;
}

function say(words) {
  form.querySelector("[data-tap-says]").textContent = words;
}

let first = null;
let dot = null;

function take(event) {
  const at = place(event);
  if (at.r > 1.6) return;
  const field = (name) => form.elements.namedItem(name);
  const { category, kind, more } = chosen().dataset;
  field("category").value = category;
  field("kind").value = kind;
  if (more === "arc" && !first) {
    first = at;
    show(at);
    say("Now tap the other end, going counter-clockwise.");
    return;
  }
  const start = first || at;
  field("r").value = category === "hidden" ? "1" : at.r.toFixed(2);
  field("angle_deg").value = start.angle.toFixed(0);
  field("to_deg").value = more === "arc" ? at.angle.toFixed(0) : "";
  dot?.remove();
  dot = show(at);
  first = null;
  if (more === "words") {
    say("Marked. Now the client's own words.");
    field("words").focus();
    if (field("words").value) form.querySelector("[data-place-button]").focus();
  } else form.requestSubmit();
}

if (svg && form) {
  keepChosen();
  svg.addEventListener("pointerdown", take);
  svg.addEventListener("mousedown", (event) => event.preventDefault()); // the words keep the keyboard
  form.addEventListener("submit", (event) => {
    if (form.elements.namedItem("angle_deg").value) {
      const { category, kind } = chosen().dataset;
      form.elements.namedItem("category").value = category;
      form.elements.namedItem("kind").value = kind;
      return;
    }
    event.preventDefault();
    event.stopImmediatePropagation();
    delete form.dataset.sent;
    say("Tap the drawing first, to say where it is.");
  });
}
