// Before and now in one frame: a wipe between them, linked zoom and pan, the second picture turned to match the first.
function open(wipe) {
  const frame = wipe.querySelector(".frame");
  const now = wipe.querySelector(".layer.now");
  const edge = wipe.querySelector(".edge");
  const plates = [...wipe.querySelectorAll(".plate")];
  const turn = wipe.querySelector("[data-turn]");
  const slider = wipe.querySelector("[data-slide]");
  const view = { zoom: 1, x: 0, y: 0 };

  function slide() {
    const share = Number(slider.value);
    now.style.clipPath = `inset(0 0 0 ${share}%)`;
    edge.style.left = `${share}%`;
  }

  // Each picture is first laid so that its stone fills the same circle, then both are zoomed and moved together.
  function lay() {
    const size = frame.clientWidth;
    for (const plate of plates) {
      const { cx, cy, radius } = plate.dataset; // shares of the picture's side; without them the picture as it is
      const angle = plate.closest(".now") ? Number(turn.value) : 0;
      const known = Number(radius) > 0;
      const scale = view.zoom * (known ? 0.4 / Number(radius) : 1);
      const [ax, ay] = known ? [Number(cx) * size, Number(cy) * size] : [size / 2, size / 2];
      plate.style.transform = `translate(${size / 2 + view.x}px, ${size / 2 + view.y}px) rotate(${-angle}deg) scale(${scale}) translate(${-ax}px, ${-ay}px)`;
    }
  }

  function zoom(factor, at = null) {
    const size = frame.clientWidth;
    const before = view.zoom;
    view.zoom = Math.min(12, Math.max(0.6, view.zoom * factor));
    const real = view.zoom / before;
    const [x, y] = at ? [at.x - size / 2, at.y - size / 2] : [0, 0];
    view.x = x - (x - view.x) * real;
    view.y = y - (y - view.y) * real;
    lay();
  }

  const touches = new Map();
  let grabbed = "";
  frame.addEventListener("pointerdown", (event) => {
    frame.setPointerCapture(event.pointerId);
    touches.set(event.pointerId, { x: event.clientX, y: event.clientY });
    const share = ((event.clientX - frame.getBoundingClientRect().left) / frame.clientWidth) * 100;
    grabbed = touches.size === 1 && Math.abs(share - Number(slider.value)) < 5 ? "edge" : "picture";
  });
  frame.addEventListener("pointermove", (event) => {
    const last = touches.get(event.pointerId);
    if (!last) return;
    const box = frame.getBoundingClientRect();
    if (touches.size === 2) {
      const [other] = [...touches].filter(([id]) => id !== event.pointerId).map(([, at]) => at);
      const was = Math.hypot(last.x - other.x, last.y - other.y);
      const is = Math.hypot(event.clientX - other.x, event.clientY - other.y);
      zoom(is / was, { x: (event.clientX + other.x) / 2 - box.left, y: (event.clientY + other.y) / 2 - box.top });
    } else if (grabbed === "edge") {
      slider.value = ((event.clientX - box.left) / box.width) * 100;
      slide();
    } else {
      view.x += event.clientX - last.x;
      view.y += event.clientY - last.y;
      lay();
    }
    touches.set(event.pointerId, { x: event.clientX, y: event.clientY });
  });
  for (const end of ["pointerup", "pointercancel"]) frame.addEventListener(end, (event) => touches.delete(event.pointerId));
  frame.addEventListener("wheel", (event) => {
    event.preventDefault();
    const box = frame.getBoundingClientRect();
    zoom(Math.exp(-event.deltaY / 400), { x: event.clientX - box.left, y: event.clientY - box.top });
  }, { passive: false });

  slider.addEventListener("input", slide);
  turn.addEventListener("input", lay);
  wipe.querySelector("[data-closer]").addEventListener("click", () => zoom(1.5));
  wipe.querySelector("[data-farther]").addEventListener("click", () => zoom(1 / 1.5));
  wipe.querySelector("[data-whole]").addEventListener("click", () => {
    Object.assign(view, { zoom: 1, x: 0, y: 0 });
    turn.value = turn.defaultValue;
    lay();
  });
  wipe.querySelectorAll("[data-view]").forEach((button) => button.addEventListener("click", () => {
    plates.forEach((plate) => {
      const { before, now: other } = button.dataset;
      plate.querySelector("img").src = plate.closest(".now") ? other : before;
    });
  }));
  wipe.querySelector("[data-rings]")?.addEventListener("click", ({ currentTarget }) => {
    const rings = wipe.querySelector(".rings");
    rings.hidden = !rings.hidden;
    currentTarget.setAttribute("aria-pressed", String(!rings.hidden));
  });
  addEventListener("resize", lay);
  slide();
  lay();
}

document.querySelectorAll("[data-wipe]").forEach(open);
