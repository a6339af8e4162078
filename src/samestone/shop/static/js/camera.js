// The live camera: choose it, see it, let the guide look over it, press space (or the foot switch): sent as PNG.
import { guide } from "./guide.js";

const box = document.querySelector("[data-camera]");
const video = box.querySelector("video");
const choice = box.querySelector("select");
const form = document.querySelector("[data-picture-form]");
const says = box.querySelector("[data-camera-says]");
const byItself = box.querySelector("[data-by-itself]");
const refusedPicture = Object.assign(new Image(), { className: "refused-picture", alt: "The picture that was not kept" });
let stream = null;
let refused = null; // the picture that the counter did not keep

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
  guide.start({ box, video, form, busy: () => Boolean(box.dataset.sending || refused), good: releaseWhenGood });
}

async function list(current) {
  const cameras = (await navigator.mediaDevices.enumerateDevices()).filter((device) => device.kind === "videoinput");
  choice.replaceChildren(...cameras.map((device, n) => new Option(device.label || `camera ${n + 1}`, device.deviceId, false, device.deviceId === current)));
  choice.hidden = cameras.length < 2;
}

// Good twice running, wanted, and the view not taken yet: then the shutter needs no hand.
function releaseWhenGood(times) {
  const view = form.querySelector("[name=view]:checked");
  if (times >= 2 && byItself.checked && view && !("taken" in view.dataset)) capture();
}

async function capture() {
  if (!stream || box.dataset.sending) return;
  if (refused) return again();
  box.dataset.sending = "yes";
  const canvas = document.createElement("canvas");
  canvas.width = video.videoWidth;
  canvas.height = video.videoHeight;
  canvas.getContext("2d").drawImage(video, 0, 0);
  const flash = Object.assign(document.createElement("div"), { className: "flash" });
  box.querySelector(".stage").append(flash);
  setTimeout(() => flash.remove(), 400);
  const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/png"));
  send(blob, "camera.png");
}

async function send(blob, name, anyway = false) {
  box.dataset.sending = "yes";
  say("Looking at the picture …");
  const data = new FormData(form);
  data.delete("photograph");
  data.append("photograph", blob, name);
  if (anyway) data.append("anyway", "on");
  try {
    const answer = await fetch(form.action, { method: "POST", body: data, redirect: "follow" });
    if (answer.ok) {
      localStorage.removeItem(`draft:${location.pathname}`); // the next view is the page's to choose
      return location.assign(answer.url);
    }
    say((await answer.text()).slice(0, 300));
    dropRefused();
    if (answer.headers.get("Keep-Anyway")) showRefused(blob, name);
  } catch {
    say("Could not be sent. The picture is still here: press again.");
  }
  delete box.dataset.sending;
}

// A picture that would not count stays in sight with the reason, until it is taken again or kept all the same.
function showRefused(blob, name) {
  refused = { blob, name };
  refusedPicture.src = URL.createObjectURL(blob);
  box.querySelector("video").after(refusedPicture);
  box.classList.add("refusing");
  box.querySelector("[data-anyway]").hidden = false;
  box.querySelector("[data-again]").focus({ preventScroll: true });
}

function dropRefused() {
  URL.revokeObjectURL(refusedPicture.src);
  refused = null;
  refusedPicture.remove();
  box.classList.remove("refusing");
  box.querySelector("[data-anyway]").hidden = true;
}

function again() {
  dropRefused();
  form.querySelector("[type=file]").value = "";
  say(stream ? "" : "Choose a file.");
}

function start() {
  const inField = (target) => target.closest?.("input:not([type=radio], [type=checkbox]), textarea, select, button, summary, a");
  addEventListener("keydown", (event) => {
    const pressed = event.key === " " || event.key === "Enter" || event.key === "PageDown";
    if (!pressed || event.repeat || inField(event.target) || document.documentElement.classList.contains("covered")) return;
    if (event.key === " " && event.target.type === "checkbox") return;
    event.preventDefault();
    capture();
  });
  box.querySelector("[data-capture]").addEventListener("click", capture);
  box.querySelector("[data-again]").addEventListener("click", again);
  box.querySelector("[data-keep-anyway]").addEventListener("click", () => send(refused.blob, refused.name, true));
  choice.addEventListener("change", () => open(choice.value).catch(closed));
  byItself.checked = localStorage.getItem("by-itself") === "yes";
  // Ticked with the mouse it must not keep the keyboard: the foot switch is a space.
  byItself.closest("label").addEventListener("click", () => setTimeout(() => byItself.matches(":focus-visible") || byItself.blur(), 0));
  byItself.addEventListener("change", () => localStorage.setItem("by-itself", byItself.checked ? "yes" : ""));
  form.querySelector("[type=file]").addEventListener("change", ({ target }) => {
    if (target.files[0]) send(target.files[0], target.files[0].name);
  });
  if (!navigator.mediaDevices) return say("No camera here: open the counter on this machine or over https. A file works too.");
  open(localStorage.getItem("camera")).catch(() => open("").catch(closed));
}

function closed(error) {
  const words = { NotAllowedError: "The browser was told not to use the camera.", NotFoundError: "No camera found.", NotReadableError: "Another program holds the camera." };
  say(`${words[error.name] || "The camera could not be opened."} Choose a file instead.`);
}

start();
