// ---- the page ----------------------------------------------------------------------------------------------------

const at = (id) => document.getElementById(id);
function make(tag, words, ...children) {
  const node = document.createElement(tag);
  if (words) node.textContent = words;
  node.append(...children);
  return node;
}
const plain = (key) => key.replace(/_/g, " ");

function show(value) {
  if (Array.isArray(value)) return value.every((item) => typeof item !== "object") ? make("span", value.join(" · ")) : make("ul", "", ...value.map((item) => make("li", "", show(item))));
  if (value && typeof value === "object") return make("dl", "", ...Object.entries(value).flatMap(([key, item]) => [make("dt", plain(key)), make("dd", "", show(item))]));
  return make("span", value === null ? "none" : value === true ? "yes" : value === false ? "no" : String(value));
}

function whose(files) {
  const facts = new Map(new TextDecoder().decode(files.get("bag-info.txt")).split("\n").map((line) => line.split(": ")));
  return ["Source-Organization", "External-Identifier", "Bagging-Date"].map((name) => facts.get(name)).filter(Boolean).join(" · ");
}

const folded = (title, value) => make("details", "", make("summary", title), show(value));

let current = null, pictures = [];

function showPacket(packet) {
  current = packet;
  const failing = packet.checks.filter((check) => check.is === "fails"), failed = failing.length;
  const made = packet.checks.filter((check) => check.is !== "open").length;
  const asSigned = !failing.some((check) => ["wrapping", "files", "digests", "signature"].includes(check.name));
  at("simulated").hidden = !(packet.record && packet.record.simulated === true);
  at("whose").textContent = whose(packet.files);
  at("bottom-line").className = failed ? "fails" : "holds";
  at("bottom-line").textContent = failed ? `${failed} of ${made} checks do not hold` : "Everything inside this packet holds together";
  at("meaning").textContent = failed && asSigned
    ? "Nothing was changed since the key below signed it, and yet its parts do not go together. Keep this file and your paper as they are, and ask the shop how that came about."
    : failed
    ? "The packet is damaged, or something in it was changed after the shop signed it. Keep this file as it is, and ask the shop for a fresh copy."
    : "Nothing was changed since the key below signed it. Whether it is the shop’s key, only your paper can say.";
  at("fingerprint").replaceChildren(...(packet.key ? inGroups(packet.key).split(" ") : ["cannot be read"]).map((group) => make("span", group)));
  at("receipt").value = ""; at("receipt-says").textContent = ""; at("receipt-says").className = "";
  at("checks").replaceChildren(...packet.checks.map((check) => {
    const line = make("li", `${check.says}.`);
    line.className = check.is;
    return line;
  }));
  showPictures(packet);
  at("log").replaceChildren(...(packet.log ? packet.log.entries : []).map(({ entry, payload }) =>
    make("li", "", make("strong", plain(entry.kind)), " ", make("time", entry.at.slice(0, 16).replace("T", " ")), folded(`entry ${entry.number}`, payload))));
  at("record").replaceChildren(...Object.entries(packet.record || {}).map(([key, value]) =>
    value && typeof value === "object" ? folded(plain(key), value) : make("dl", "", make("dt", plain(key)), make("dd", "", show(value)))));
  at("result").hidden = false;
  at("bottom-line").focus();
}

function showPictures({ files, record }) {
  pictures.forEach((url) => URL.revokeObjectURL(url));
  const kinds = { jpg: "image/jpeg", jpeg: "image/jpeg", png: "image/png", webp: "image/webp" };
  const captions = new Map((record && Array.isArray(record.photographs) ? record.photographs : []).filter(Boolean).map((item) => [item.name, item.caption]));
  const order = [...captions.keys()].map((short) => `data/photographs/${short}`), figures = [];
  pictures = [];
  for (const name of new Set([...order, ...[...files.keys()].sort()].filter((key) => key.startsWith("data/photographs/") && files.has(key)))) {
    const short = name.split("/").pop(), kind = kinds[short.split(".").pop().toLowerCase()];
    if (!kind) continue;
    const image = document.createElement("img");
    image.src = URL.createObjectURL(new Blob([files.get(name)], { type: kind }));
    image.alt = captions.get(short) || short;
    pictures.push(image.src);
    figures.push(make("figure", "", image, make("figcaption", captions.get(short) || short)));
  }
  at("pictures-part").hidden = figures.length === 0;
  at("pictures").replaceChildren(...figures);
}

async function take(read) {
  at("refusal").hidden = true;
  at("result").hidden = true;
  at("progress").textContent = "Reading and checking …";
  try { showPacket(await checkPacket(await read())); } catch (error) {
    at("refusal").textContent = `This cannot be read as a packet: ${error.message}.`;
    at("refusal").hidden = false;
  }
  at("progress").textContent = "";
}

async function fromZip(file) {
  if (file.size > MOST_BYTES) refuse("it is larger than any packet");
  const { files, wrapping } = await readZip(new Uint8Array(await file.arrayBuffer()));
  return { files: inFolder(files), wrapping };
}

async function fromFolder(list) {
  const files = new Map();
  if (list.length > MOST_FILES) refuse("it has more files than any packet");
  for (const file of list) files.set(file.webkitRelativePath, new Uint8Array(await file.arrayBuffer()));
  return { files: inFolder(files), wrapping: "" };
}

at("zip").addEventListener("change", (event) => { if (event.target.files.length) take(() => fromZip(event.target.files[0])); });
at("folder").addEventListener("change", (event) => { if (event.target.files.length) take(() => fromFolder([...event.target.files])); });
addEventListener("dragover", (event) => { event.preventDefault(); document.body.classList.add("over"); });
addEventListener("dragleave", () => document.body.classList.remove("over"));
addEventListener("drop", (event) => {
  event.preventDefault();
  document.body.classList.remove("over");
  if (event.dataTransfer.files.length) take(() => fromZip(event.dataTransfer.files[0]));
});
at("receipt-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const says = at("receipt-says");
  try {
    says.textContent = `${await checkReceipt(await readReceipt(at("receipt").value), current)}.`;
    says.className = "holds";
  } catch (error) {
    says.textContent = `${error.message}.`;
    says.className = "fails";
  }
});
