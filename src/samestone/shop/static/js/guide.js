// The guide beside the live camera: a small frame goes to the counter, the girdle and four numbers come back.
const SIDE = 640; // the longer side of the frame that is sent
const PAUSE = 700;
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
function draw(svg, video, girdle, good) {
  const [width, height] = [video.videoWidth, video.videoHeight];
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.classList.toggle("good", good);
  svg.replaceChildren();
  if (!girdle) return;
  const [x, y, rx, ry] = [girdle.cx * width, girdle.cy * height, girdle.rx * width, girdle.ry * width];
  const ring = { cx: x, cy: y, rx, ry, transform: `rotate(${girdle.tilt_deg} ${x} ${y})` };
  svg.append(element("ellipse", { ...ring, class: "under" }), element("ellipse", ring));
  for (const [from, to] of girdle.hidden_deg) {
    const at = (degrees) => `${x + rx * Math.cos((degrees * Math.PI) / 180)} ${y - rx * Math.sin((degrees * Math.PI) / 180)}`;
    const wide = (to - from + 360) % 360 > 180 ? 1 : 0;
    svg.append(element("path", { d: `M ${at(from)} A ${rx} ${rx} 0 ${wide} 0 ${at(to)}`, class: "hidden-arc" }));
  }
}

function show(box, read) {
  for (const row of box.querySelectorAll("[data-meter]")) {
    const value = read[row.dataset.meter];
    const meter = row.querySelector("meter");
    if (meter) meter.value = value;
    else row.querySelector("output").textContent = value === null ? "–" : `${Math.abs(value)}°${turning(row.dataset.meter, value)}`;
  }
  box.querySelector("[data-guide-says]").textContent = read.says || (read.good ? "Good." : "\u00a0");
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
  data.append("frame", await small(video), "frame.jpg");
  const answer = await fetch(box.dataset.frame, { method: "POST", body: data });
  if (!answer.ok) return;
  const read = await answer.json();
  show(box, read);
  draw(box.querySelector("[data-girdle]"), video, read.girdle, read.good);
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
