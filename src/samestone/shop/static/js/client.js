// The client's window: follows the job on the jeweller's screen and looks again every few seconds.
const channel = new BroadcastChannel("client-view");
const shown = document.querySelector("main").innerHTML; // as it came, before any script moved a picture
channel.addEventListener("message", ({ data }) => {
  if (typeof data === "string" && data.startsWith("/job/") && data !== location.pathname) location.assign(data);
  else look();
});
async function look() {
  try {
    const answer = await fetch(location.pathname, { headers: { "X-Part": "yes" } });
    if (!answer.ok || answer.redirected) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("main");
    if (page && page.innerHTML !== shown) location.reload();
  } catch { /* the counter is being restarted; the next look will tell */ }
}
setInterval(look, 4000);
