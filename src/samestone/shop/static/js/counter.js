// What every page of the counter can do: cover, light or dark, the client's window, drafts, one send per form.
const root = document.documentElement;

function cover(on) {
  root.classList.toggle("covered", on);
  document.querySelector(".cover").hidden = !on;
  if (on) {
    sessionStorage.setItem("covered", "yes");
    document.querySelector("[data-uncover]").focus();
  } else sessionStorage.removeItem("covered");
}

function switchTheme() {
  root.dataset.theme = root.dataset.theme === "dark" ? "light" : "dark";
  localStorage.setItem("theme", root.dataset.theme);
}

// The client's window follows the job on the jeweller's screen.
const channel = new BroadcastChannel("client-view");
const clientView = document.body.dataset.clientView;
function tellClient() {
  if (clientView && !document.body.classList.contains("client")) channel.postMessage(clientView);
}

// What is typed is kept until it has been sent: a power cut or a closed window loses nothing.
const drafts = {
  key: `draft:${location.pathname}`,
  fields: () => [...document.querySelectorAll("main form [name]:not([type=hidden]):not([type=password]):not([type=file]):not([data-not-kept]):not(button)")],
  save() {
    const kept = {};
    for (const field of drafts.fields()) {
      if (field.type === "radio" || field.type === "checkbox") {
        if (field.checked) (kept[field.name] ||= []).push(field.value);
      } else if (field.value !== field.defaultValue) kept[field.name] = field.value;
    }
    localStorage.setItem(drafts.key, JSON.stringify(kept));
  },
  // Whether words came back that the page itself did not show.
  restore() {
    let cameBack = false;
    const kept = JSON.parse(localStorage.getItem(drafts.key) || "{}");
    for (const field of drafts.fields()) {
      const value = kept[field.name];
      if (value === undefined) continue;
      if (Array.isArray(value)) field.checked = value.includes(field.value);
      else if (field.value !== value && (!field.value || field.value === field.defaultValue)) {
        field.value = value;
        cameBack = true;
      }
    }
    return cameBack;
  },
  forget: (key) => localStorage.removeItem(key),
};

// What came back may belong to someone who has left: one tap and the page is empty again.
function offerEmpty() {
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: "Start empty" });
  button.addEventListener("click", () => {
    drafts.forget(drafts.key);
    location.replace(location.href);
  });
  const line = Object.assign(document.createElement("p"), { className: "help", textContent: "Typed before, not sent yet. " });
  line.append(button);
  document.querySelector("main h1")?.after(line);
}

// What must not stay empty is said beside it before anything is sent; where no script runs, the answer says it.
function stopAtEmpty(event) {
  const form = event.target;
  form.querySelectorAll(".error.needed").forEach((said) => said.remove());
  const typed = new FormData(form);
  const empty = [...form.querySelectorAll("[data-needed]")].find((field) => !typed.get(field.name)?.trim());
  if (!empty) return false;
  const words = ["radio", "checkbox"].includes(empty.type) ? "Found nothing chosen; expected one answer. Tap the one that fits." : "Found nothing; expected something here. Type it.";
  const line = Object.assign(document.createElement("p"), { className: "error needed", textContent: words });
  line.setAttribute("role", "alert");
  const around = empty.closest("fieldset, .field");
  if (around) around.append(line);
  else (empty.closest("label") || empty).after(line);
  empty.focus();
  return true;
}

function start() {
  if (root.classList.contains("covered")) cover(true);
  document.querySelector("[data-cover]")?.addEventListener("click", () => cover(true));
  document.querySelector("[data-uncover]").addEventListener("click", () => cover(false));
  document.querySelectorAll("[data-theme-switch]").forEach((button) => button.addEventListener("click", switchTheme));
  document.querySelector("[data-client-window]")?.addEventListener("click", () => {
    window.open(clientView, "client-view", "popup,width=1024,height=768");
  });
  addEventListener("keydown", (event) => {
    if (event.key === "Escape" && document.querySelector("[data-cover]")) cover(!root.classList.contains("covered"));
  });
  tellClient();
  // The next step stands just above what is recorded, however many lines that has.
  const recorded = document.querySelector(".question-page > .recorded");
  if (recorded) new ResizeObserver(() => root.style.setProperty("--recorded", `${recorded.offsetHeight}px`)).observe(recorded);

  const step = recorded?.querySelector(".ladder .now"); // on a phone the steps are one row that moves sideways
  if (step) step.parentElement.scrollLeft = step.offsetLeft - (step.parentElement.clientWidth - step.offsetWidth) / 2;

  const sent = sessionStorage.getItem("sent");
  if (sent && !document.querySelector(".error")) drafts.forget(sent);
  sessionStorage.removeItem("sent");
  if (!document.querySelector(".narrow input[type=password]")) {
    if (drafts.restore()) offerEmpty();
    document.querySelector("main").addEventListener("input", drafts.save);
  }
  addEventListener("submit", (event) => {
    const button = event.submitter;
    if (event.target.dataset.sent || stopAtEmpty(event)) return event.preventDefault();
    event.target.dataset.sent = "yes";
    sessionStorage.setItem("sent", drafts.key);
    sessionStorage.setItem("scroll", `${location.pathname} ${scrollY}`);
    setTimeout(() => {
      button?.setAttribute("aria-busy", "true");
      if (button?.dataset.busy) button.textContent = button.dataset.busy;
    }, 0);
  });
  addEventListener("pageshow", () => document.querySelectorAll("form[data-sent]").forEach((form) => delete form.dataset.sent));
  const [path, y] = (sessionStorage.getItem("scroll") || "").split(" ");
  if (path === location.pathname) scrollTo(0, Number(y));
  sessionStorage.removeItem("scroll");
  const wrong = document.querySelector("main .wrong");
  wrong?.scrollIntoView({ block: "center" });
  wrong?.querySelector("input:not([type=hidden]), select, textarea")?.focus({ preventScroll: true });
  // Only one list of reasons is open at a time.
  document.addEventListener("click", (event) => {
    for (const open of document.querySelectorAll("details.could-not[open]")) if (!open.contains(event.target)) open.open = false;
  });
  // A single question with big answers is saved at the tap.
  document.querySelectorAll("form[data-at-the-tap]").forEach((form) => form.addEventListener("change", () => form.requestSubmit()));
  // A gauge that types ends each reading with Enter: on to the next empty field, and only then to the button.
  document.querySelectorAll("form[data-field-by-field]").forEach((form) => form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target.tagName !== "INPUT") return;
    event.preventDefault();
    const fields = [...form.querySelectorAll("input[inputmode=decimal]")];
    const later = fields.slice(fields.indexOf(event.target) + 1).find((field) => !field.value);
    (later || form.querySelector("button.next"))?.focus();
  }));
}
start();
