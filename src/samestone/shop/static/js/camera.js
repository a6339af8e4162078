// The live camera: choose it, see it, press space (or the foot switch), and the picture is sent as PNG.
const box = document.querySelector("[data-camera]");
const video = box.querySelector("video");
const choice = box.querySelector("select");
const form = document.querySelector("[data-picture-form]");
const says = box.querySelector("[data-camera-says]");
let stream = null;

function say(words) {
  says.textContent = words;
  says.hidden = !words;
}

async function open(id) {
  stream?.getTracks().forEach((track) => track.stop());
  const wanted = id ? { deviceId: { exact: id } } : true;
  stream = await navigator.mediaDevices.getUserMedia({ video: wanted, audio: false });
  const [track] = stream.getVideoTracks();
  const can = track.getCapabilities?.() || {};
  // One at a time: a camera that refuses one wish must not refuse the others.
  for (const wish of [{ width: { ideal: can.width?.max || 1920 } }, { focusMode: "continuous" }, { whiteBalanceMode: "manual" }]) {
    if (Object.keys(wish)[0] in can) await track.applyConstraints({ advanced: [wish] }).catch(() => {});
  }
  video.srcObject = stream;
  await video.play();
  video.hidden = false;
  say("");
  box.querySelector("[data-capture]").disabled = false;
  await list(track.getSettings().deviceId);
  localStorage.setItem("camera", track.getSettings().deviceId || "");
}

async function list(current) {
  const cameras = (await navigator.mediaDevices.enumerateDevices()).filter((device) => device.kind === "videoinput");
  choice.replaceChildren(...cameras.map((device, n) => new Option(device.label || `camera ${n + 1}`, device.deviceId, false, device.deviceId === current)));
  choice.hidden = cameras.length < 2;
}

async function capture() {
  if (!stream || box.dataset.sending) return;
  box.dataset.sending = "yes";
  const canvas = document.createElement("canvas");
  canvas.width = video.videoWidth;
  canvas.height = video.videoHeight;
  canvas.getContext("2d").drawImage(video, 0, 0);
  const flash = Object.assign(document.createElement("div"), { className: "flash" });
  box.querySelector(".stage").append(flash);
  const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/png"));
  send(blob, "camera.png");
}

async function send(blob, name) {
  say("Keeping the picture …");
  const data = new FormData(form);
  data.delete("photograph");
  data.append("photograph", blob, name);
  try {
    const answer = await fetch(form.action, { method: "POST", body: data, redirect: "follow" });
    if (answer.ok) return location.assign(answer.url);
    say((await answer.text()).slice(0, 300));
  } catch {
    say("Could not be sent. The picture is still here: press again.");
  }
  delete box.dataset.sending;
}

function start() {
  const inField = (target) => target.closest?.("input:not([type=radio]), textarea, select, button, summary, a");
  addEventListener("keydown", (event) => {
    const pressed = event.key === " " || event.key === "Enter" || event.key === "PageDown";
    if (!pressed || event.repeat || inField(event.target) || document.documentElement.classList.contains("covered")) return;
    event.preventDefault();
    capture();
  });
  box.querySelector("[data-capture]").addEventListener("click", capture);
  choice.addEventListener("change", () => open(choice.value).catch(refused));
  form.querySelector("[type=file]").addEventListener("change", () => form.requestSubmit());
  if (!navigator.mediaDevices) return say("No camera here: open the counter on this machine or over https. A file works too.");
  open(localStorage.getItem("camera")).catch(() => open("").catch(refused));
}

function refused(error) {
  const words = { NotAllowedError: "The browser was told not to use the camera.", NotFoundError: "No camera found.", NotReadableError: "Another program holds the camera." };
  say(`${words[error.name] || "The camera could not be opened."} Choose a file instead.`);
}

start();
