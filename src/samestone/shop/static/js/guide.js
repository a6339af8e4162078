// The guide beside the live camera: a small frame goes to the counter, the girdle and a few numbers come back.
const SIDE = 640; // the longer side of the frame that is sent
const PAUSE = 700;
const LOW_WIDE = 45; // how far to each side of where it is read the low side may well be
const SVG = "http://www.w3.org/2000/svg";

function small(video) {
  const shrink = Math.min(1, SIDE / Math.max(video.videoWidth, video.videoHeight));
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(video.videoWidth * shrink);
  canvas.height = Math.round(video.videoHeight * shrink);
  canvas.getContext("2d").drawImage(video, 0, 0, canvas.width, canvas.height);
  return new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.9));
}

function element(name, attributes) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

// The found girdle over the live picture, hidden arcs thicker.
function draw(svg, video, { girdle, low_side_deg: low, good }) {
  const [width, height] = [video.videoWidth, video.videoHeight];
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.classList.toggle("good", good);
  svg.replaceChildren();
  if (!girdle) return;
  const [x, y, rx, ry] = [girdle.cx * width, girdle.cy * height, girdle.rx * width, girdle.ry * width];
  const ring = { cx: x, cy: y, rx, ry, transform: `rotate(${girdle.tilt_deg} ${x} ${y})` };
  svg.append(element("ellipse", { ...ring, class: "under" }), element("ellipse", ring));
  const at = (degrees, r) => [x + r * Math.cos((degrees * Math.PI) / 180), y - r * Math.sin((degrees * Math.PI) / 180)];
  const arc = (from, to, r) => `M ${at(from, r)} A ${r} ${r} 0 ${(to - from + 360) % 360 > 180 ? 1 : 0} 0 ${at(to, r)}`;
  for (const [from, to] of girdle.hidden_deg) svg.append(element("path", { d: arc(from, to, rx), class: "hidden-arc" }));
  if (low !== null && low !== undefined) lower(svg, at, arc, low, rx);
}

// The side that lies lower, as wide as it is known; where the picture ends, inside the girdle.
function lower(svg, at, arc, low, girdle) {
  const { width, height } = svg.viewBox.baseVal;
  const [px, py] = at(low, girdle * 1.3);
  const r = girdle * (px > 0 && py > 0 && px < width && py < height ? 1.12 : 0.86);
  for (const under of [true, false]) svg.append(element("path", { d: arc(low - LOW_WIDE, low + LOW_WIDE, r), class: under ? "low-side under" : "low-side" }));
  const [tx, ty] = at(low, r + (r > girdle ? 0.17 : -0.14) * girdle);
  const word = element("text", { x: tx, y: ty, class: "low-word", "font-size": girdle * 0.13 });
  word.textContent = "low";
  svg.append(word);
}

function show(box, read) {
  for (const row of box.querySelectorAll("[data-meter]")) {
    const value = read[row.dataset.meter];
    const meter = row.querySelector("meter");
    if (typeof value === "string") row.querySelector("output").textContent = value;
    else if (meter) meter.value = value;
    else row.querySelector("output").textContent = value === null ? "–" : `${row.dataset.meter === "lean_deg" ? value.toFixed(1) : Math.abs(value)}°${turning(row.dataset.meter, value)}`;
  }
  box.querySelector("[data-guide-says]").textContent = read.good ? `Good.${read.says ? ` Better still: ${read.says}` : ""}` : read.says;
  box.classList.toggle("good", read.good);
}

function turning(meter, value) {
  if (meter !== "turn_deg" || Math.abs(value) < 1) return "";
  return value > 0 ? " ↺" : " ↻";
}

async function look({ box, video, form, good }, view) {
  const data = new FormData();
  data.append("csrfmiddlewaretoken", form.elements.namedItem("csrfmiddlewaretoken").value);
  data.append("view", view);
  data.append("width_px", video.videoWidth);
  data.append("instrument", form.elements.namedItem("instrument").value);
  data.append("frame", await small(video), "frame.jpg");
  const answer = await fetch(box.dataset.frame, { method: "POST", body: data });
  if (!answer.ok) return;
  const read = await answer.json();
  show(box, read);
  draw(box.querySelector("[data-girdle]"), video, read);
  guide.times = read.good && read.girdle ? guide.times + 1 : 0; // only a stone face up releases by itself
  if (guide.times) good(guide.times);
}

export const guide = {
  running: false,
  times: 0, // how often running the frame was good
  async start(parts) {
    if (guide.running) return;
    guide.running = true;
    for (;;) {
      const view = parts.form.querySelector("[name=view]:checked")?.value || "";
      const covered = document.hidden || document.documentElement.classList.contains("covered");
      if (!covered && !parts.busy() && parts.video.videoWidth) await look(parts, view).catch(() => {});
      await new Promise((resolve) => setTimeout(resolve, PAUSE));
    }
  },
};
