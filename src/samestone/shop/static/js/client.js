// The client's window: follows the job on the jeweller's screen and looks again every few seconds.
const channel = new BroadcastChannel("client-view");
channel.addEventListener("message", ({ data }) => {
  if (typeof data === "string" && data.startsWith("/job/") && data !== location.pathname) location.assign(data);
  else look();
});
async function look() {
  try {
    const answer = await fetch(location.pathname, { headers: { "X-Part": "yes" } });
    if (!answer.ok || answer.redirected) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("main");
    const main = document.querySelector("main");
    if (page && page.innerHTML !== main.innerHTML) main.replaceChildren(...page.childNodes);
  } catch { /* the counter is being restarted; the next look will tell */ }
}
setInterval(look, 4000);
