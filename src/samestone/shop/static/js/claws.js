// Two taps on a picture: the distance between them, in the picture's own pixels.
const figure = document.querySelector("[data-claws]");
const svg = figure.querySelector("svg");
const form = document.querySelector("form[method=post]:has([name=width_px])");
const says = form.querySelector("[data-tapped]");
const TAP_PX = 1; // standard uncertainty of one tap on the screen, each way (common practice, no source)
const taps = [];

function place(event) {
  return new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
}

function mark(name, attributes) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries({ class: "tapped", ...attributes })) made.setAttribute(key, value);
  svg.append(made);
}

function measure([a, b]) {
  const width = Math.hypot(a.x - b.x, a.y - b.y);
  const { cx, cy } = figure.dataset;
  const [x, y] = [Number(cx) || svg.viewBox.baseVal.width / 2, Number(cy) || svg.viewBox.baseVal.height / 2];
  const angle = (Math.atan2(y - (a.y + b.y) / 2, (a.x + b.x) / 2 - x) * 180) / Math.PI;
  const u = (Math.SQRT2 * TAP_PX) / svg.getScreenCTM().a;
  const field = (name) => form.elements.namedItem(name);
  field("angle_deg").value = ((angle + 360) % 360).toFixed(0);
  field("width_px").value = width.toFixed(2);
  field("u_px").value = u.toFixed(2);
  const um = Number(says.dataset.um);
  const text = um ? `${((width * um) / 1000).toFixed(3)} mm, u ${((u * um) / 1000).toFixed(3)}` : `${width.toFixed(1)} px, u ${u.toFixed(1)}`;
  says.textContent = `Between the taps: ${text}.`;
}

svg.addEventListener("pointerdown", (event) => {
  if (taps.length === 2) {
    taps.length = 0;
    svg.querySelectorAll(".tapped").forEach((old) => old.remove());
  }
  const at = place(event);
  taps.push(at);
  mark("circle", { cx: at.x, cy: at.y, r: 4 / svg.getScreenCTM().a });
  if (taps.length < 2) return void (says.textContent = "Now the other side.");
  mark("line", { x1: taps[0].x, y1: taps[0].y, x2: taps[1].x, y2: taps[1].y });
  measure(taps);
});
document.querySelector("[data-at-once]").addEventListener("change", ({ target }) => target.form.requestSubmit());
