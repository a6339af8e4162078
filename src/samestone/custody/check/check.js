"use strict";
// Checks a packet with what every browser has: WebCrypto and DecompressionStream. docs/format/packet.md in the source
// describes each step. Nothing is fetched, nothing is sent, and text from the packet is only ever shown as text.
// statement.js and page.js follow in the same script.

const MOST_FILES = 2000, MOST_BYTES = 2 ** 30;
const MANIFEST = "manifest-sha256.txt", TAG_MANIFEST = "tagmanifest-sha256.txt";
const RAW = "signature/tagmanifest.raw", DER = "signature/tagmanifest.der";
const PUBLIC_KEY = "signature/public-key.pem", CERTIFICATE = "signature/certificate.pem";
const UNLISTED = [TAG_MANIFEST, RAW, DER], DIGEST = /^[0-9a-f]{64}$/;
const EXPECTED = ["bagit.txt", "bag-info.txt", MANIFEST, TAG_MANIFEST, "check.html", PUBLIC_KEY, CERTIFICATE, RAW, DER,
  "data/record.json", "data/log.json", "data/statement.pdf"];
const BAGIT = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";
const NAME = /^[A-Za-z0-9_][A-Za-z0-9._ -]{0,120}(\/[A-Za-z0-9_][A-Za-z0-9._ -]{0,120})*$/;
const MOMENT = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?Z$/;

class NotSo extends Error {}
class NotHere extends Error {} // what cannot be checked from this packet, and speaks neither for nor against it
const refuse = (says) => { throw new NotSo(says); };
const text = (bytes) => new TextDecoder("utf-8", { fatal: true, ignoreBOM: true }).decode(bytes);
const bytesOf = (string) => new TextEncoder().encode(string);
const hex = (bytes) => Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
const unhex = (digits) => Uint8Array.from(digits.match(/../g) || [], (pair) => parseInt(pair, 16));
const inGroups = (digits) => digits.match(/.{1,4}/g).join(" ");
const equal = (a, b) => a.length === b.length && a.every((byte, place) => byte === b[place]);

function join(...parts) {
  const whole = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  for (let k = 0, place = 0; k < parts.length; place += parts[k++].length) whole.set(parts[k], place);
  return whole;
}

async function sha256(bytes) { return hex(new Uint8Array(await crypto.subtle.digest("SHA-256", bytes))); }

// ---- the zip ----------------------------------------------------------------------------------------------------

const CRC = Array.from({ length: 256 }, (_, n) => {
  for (let bit = 0; bit < 8; bit++) n = n & 1 ? (n >>> 1) ^ 0xedb88320 : n >>> 1;
  return n >>> 0;
});
function crc32(bytes) {
  const sum = bytes.reduce((past, byte) => CRC[(past ^ byte) & 255] ^ (past >>> 8), 0xffffffff);
  return (sum ^ 0xffffffff) >>> 0;
}

async function inflate(packed, size, how = "deflate-raw") {
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream(how));
  const reader = stream.getReader(), parts = [];
  let length = 0;
  for (let step = await reader.read(); !step.done; step = await reader.read()) {
    length += step.value.length;
    if (length > size) refuse("a file in it unpacks to more than it says");
    parts.push(step.value);
  }
  return join(...parts);
}

function members(zip) {
  const view = new DataView(zip.buffer, zip.byteOffset, zip.length);
  let end = zip.length - 22;
  while (end >= Math.max(0, zip.length - 22 - 0xffff) && view.getUint32(end, true) !== 0x06054b50) end--;
  if (end < 0 || view.getUint32(end, true) !== 0x06054b50) refuse("this is not a zip, or its end is missing (an interrupted download?)");
  const count = view.getUint16(end + 10, true), found = [], seen = new Set();
  if (count > MOST_FILES) refuse(`${count} files; a packet has at most ${MOST_FILES}`);
  let place = view.getUint32(end + 16, true);
  for (let n = 0; n < count; n++) {
    if (place + 46 > end || view.getUint32(place, true) !== 0x02014b50) refuse("its table of contents is damaged");
    const [flags, method] = [view.getUint16(place + 8, true), view.getUint16(place + 10, true)];
    if (flags & 1 || (method !== 0 && method !== 8)) refuse("a file in it is encrypted or packed in an unknown way");
    const [checksum, packed, size] = [16, 20, 24].map((at) => view.getUint32(place + at, true));
    const [nameSize, extra, comment] = [28, 30, 32].map((at) => view.getUint16(place + at, true));
    const start = view.getUint32(place + 42, true);
    const name = new TextDecoder().decode(zip.subarray(place + 46, place + 46 + nameSize));
    place += 46 + nameSize + extra + comment;
    if (name.endsWith("/")) continue;
    if (!NAME.test(name)) refuse(`the file name ${JSON.stringify(name)} is not one a packet can have`);
    if (seen.has(name.toLowerCase())) refuse(`the file name ${JSON.stringify(name)} stands twice in it`);
    seen.add(name.toLowerCase());
    found.push({ name, method, checksum, packed, size, start });
  }
  return found;
}

async function readZip(zip) {
  const view = new DataView(zip.buffer, zip.byteOffset, zip.length), files = new Map(), damaged = [];
  let room = MOST_BYTES;
  for (const member of members(zip)) {
    if (member.start + 30 > zip.length || view.getUint32(member.start, true) !== 0x04034b50) refuse(`${member.name} is not where the table of contents says`);
    const begin = member.start + 30 + view.getUint16(member.start + 26, true) + view.getUint16(member.start + 28, true);
    const packed = zip.subarray(begin, begin + member.packed);
    if ((room -= Math.max(member.size, packed.length)) < 0) refuse("it unpacks to more than any packet holds");
    const content = member.method === 0 ? packed : await inflate(packed, member.size);
    files.set(member.name, content);
    if (content.length !== member.size || crc32(content) !== member.checksum) damaged.push(member.name);
  }
  let wrapping = equal(writeZip(files), zip) ? "" : "The zip was packed again or altered around its files since the shop wrote it; to check the files alone, unpack it and give the folder";
  if (damaged.length) wrapping = `The zip is damaged at ${damaged.join(", ")}`;
  return { files, wrapping };
}

// The one way to write a packet: in order of name, stored, dated 1980-01-01.
function writeZip(files) {
  const bodies = [], directory = [];
  let offset = 0;
  for (const name of [...files.keys()].sort()) {
    const content = files.get(name), raw = bytesOf(name), facts = new DataView(new ArrayBuffer(26));
    [20, 0, 0, 0, 0x21].forEach((value, n) => facts.setUint16(2 * n, value, true));
    [crc32(content), content.length, content.length].forEach((value, n) => facts.setUint32(10 + 4 * n, value, true));
    facts.setUint16(22, raw.length, true);
    const shared = new Uint8Array(facts.buffer), tail = new DataView(new ArrayBuffer(14));
    tail.setUint32(10, offset, true);
    directory.push(join([0x50, 0x4b, 1, 2, 20, 0], shared, new Uint8Array(tail.buffer), raw));
    bodies.push(join([0x50, 0x4b, 3, 4], shared, raw), content);
    offset += 30 + raw.length + content.length;
  }
  const table = join(...directory), end = new DataView(new ArrayBuffer(22));
  end.setUint32(0, 0x06054b50, true);
  [8, 10].forEach((at) => end.setUint16(at, files.size, true));
  end.setUint32(12, table.length, true);
  end.setUint32(16, offset, true);
  return join(...bodies, table, new Uint8Array(end.buffer));
}

function inFolder(files) {
  const folders = new Set([...files.keys()].map((name) => name.split("/")[0]));
  const inner = new Map([...files].map(([name, content]) => [name.slice(name.indexOf("/") + 1), content]));
  if (folders.size !== 1 || !inner.has(TAG_MANIFEST)) refuse(`this is not a packet: expected one folder with ${TAG_MANIFEST} in it`);
  return inner;
}

// ---- canonical JSON (RFC 8785), without fractions ----------------------------------------------------------------

function canonical(value) {
  if (typeof value === "string" && value.isWellFormed && !value.isWellFormed()) refuse("has text that is not Unicode");
  if (value === null || typeof value === "boolean" || typeof value === "string") return JSON.stringify(value);
  if (typeof value === "number") return Number.isSafeInteger(value) ? String(value) : refuse(`has the number ${value}; expected a decimal string`);
  if (Array.isArray(value)) return `[${value.map(canonical).join(",")}]`;
  return `{${Object.keys(value).sort().map((key) => `${canonical(key)}:${canonical(value[key])}`).join(",")}}`;
}

function readCanonical(bytes, what) {
  let value, written;
  try { written = text(bytes); value = JSON.parse(written); } catch { refuse(`${what} is not JSON in UTF-8`); }
  if (canonical(value) !== written) refuse(`${what} is not written in the one canonical way`);
  return value;
}

// ---- the log's tree (RFC 9162) -----------------------------------------------------------------------------------

const leafDigest = (entry) => sha256(join([0], bytesOf(canonical(entry))));
const parent = (left, right) => sha256(join([1], unhex(left), unhex(right)));
const areDigests = (...all) => all.every((digest) => typeof digest === "string" && DIGEST.test(digest));
const half = (n) => Math.floor(n / 2);

async function included(digest, number, proof, { size, root }) {
  if (number < 0 || number >= size || !areDigests(digest, root, ...proof)) return false;
  let place = number, last = size - 1, node = digest;
  for (const sibling of proof) {
    if (last === 0) return false;
    if (place % 2 || place === last) {
      node = await parent(sibling, node);
      while (place % 2 === 0 && place) { place = half(place); last = half(last); }
    } else node = await parent(node, sibling);
    place = half(place); last = half(last);
  }
  return last === 0 && node === root;
}

async function continues(receipt, proof, { size, root }) {
  if (receipt.size <= 0 || receipt.size > size || !areDigests(receipt.root, root, ...proof)) return false;
  if (receipt.size === size) return proof.length === 0 && receipt.root === root;
  const nodes = Number.isInteger(Math.log2(receipt.size)) ? [receipt.root, ...proof] : [...proof];
  let place = receipt.size - 1, last = size - 1;
  while (place % 2) { place = half(place); last = half(last); }
  if (!nodes.length) return false;
  let earlier = nodes[0], later = nodes[0];
  for (const node of nodes.slice(1)) {
    if (last === 0) return false;
    if (place % 2 || place === last) {
      earlier = await parent(node, earlier); later = await parent(node, later);
      while (place % 2 === 0 && place) { place = half(place); last = half(last); }
    } else later = await parent(later, node);
    place = half(place); last = half(last);
  }
  return last === 0 && earlier === receipt.root && later === root;
}

// ---- receipts from paper -----------------------------------------------------------------------------------------

const checkGroup = async (number, start) => (await sha256(bytesOf(`samestone-receipt/1 ${number} ${start}`))).slice(0, 4);

async function readReceipt(typed) {
  const whole = typed.trim().toUpperCase().match(/^SAMESTONE1\/(\d+)\/([0-9A-F]{64})\/(\d+)\/([0-9A-F]{64})\/[0-9T:.Z-]+\/([0-9A-F]{64})$/);
  if (whole) {
    const [number, digest, size, root, key] = whole.slice(1).map((part) => part.toLowerCase());
    return { number: Number(number), start: digest, size: Number(size), root, key };
  }
  const [number, ...rest] = typed.toLowerCase().match(/[0-9a-z]+/g) || [];
  const digits = rest.join("").replace(/o/g, "0").replace(/[li]/g, "1").replace(/s/g, "5");
  if (!/^\d{1,15}$/.test(number || "") || !/^[0-9a-f]{36}$/.test(digits)) refuse("This is not a whole receipt number: expected a number and nine groups of four, such as 42-3f2a-91bc-…");
  const start = digits.slice(0, 32);
  if (digits.slice(32) !== await checkGroup(Number(number), start)) refuse("This was mistyped: its last group does not go with the others. Please read it again from the paper");
  return { number: Number(number), start };
}

async function checkReceipt(receipt, { log, key }) {
  if (!log) refuse("The log in this packet cannot be read");
  const { number } = receipt;
  if (number >= log.head.size) refuse(`Receipt ${number}: the log ends after ${log.head.size} entries, it was shortened`);
  if (!log.digests.has(number)) refuse(`Receipt ${number}: that entry is not in this packet; is it the receipt for this job?`);
  if (!log.digests.get(number).startsWith(receipt.start)) refuse(`Receipt ${number}: the log holds another entry there, it was rewritten`);
  if (receipt.size) {
    if (receipt.key !== key) refuse(`Receipt ${number}: it names another key, ${inGroups(receipt.key)}`);
    if (receipt.size > log.head.size) refuse(`Receipt ${number}: the log had ${receipt.size} entries and has ${log.head.size}, it was shortened`);
    let holds = false;
    for (const own of log.receipts) if (own.receipt.size === receipt.size) holds ||= await continues(receipt, own.consistency, log.head);
    if (!holds) refuse(`Receipt ${number}: the log before it is not the one that it was given from, it was rewritten`);
  }
  const unseen = log.entries.some(({ entry }) => entry.number === number) ? "" : "; what that entry says is not in this packet";
  return `Receipt ${number}: the log still holds the entry that this receipt was given for${unseen}`;
}

// ---- the checks, one sentence each -------------------------------------------------------------------------------

function readManifest(bytes) {
  const digests = new Map();
  for (const line of text(bytes || new Uint8Array()).replace(/\n$/, "").split("\n")) {
    const found = line.match(/^([0-9a-f]{64}) {2}(\S.*)$/);
    if (!found || digests.has(found[2])) refuse("A list of files is not written as it should be");
    digests.set(found[2], found[1]);
  }
  return digests;
}

function checkListed(files) {
  const listed = new Set([...readManifest(files.get(TAG_MANIFEST)).keys(), ...readManifest(files.get(MANIFEST)).keys(), ...UNLISTED]);
  const missing = [...new Set([...listed, ...EXPECTED])].filter((name) => !files.has(name)).sort();
  const added = [...files.keys()].filter((name) => !listed.has(name)).sort();
  const parts = [missing.length && `missing: ${missing.join(", ")}`, added.length && `not on the shop’s list: ${added.join(", ")}`].filter(Boolean);
  if (parts.length) refuse(`The files are not those on the list; ${parts.join("; ")}`);
  if (text(files.get("bagit.txt")) !== BAGIT) refuse("bagit.txt is not that of a bag (RFC 8493, version 1.0)");
  return `All ${files.size} files are there and none was added`;
}

async function checkUnchanged(files) {
  const changed = [];
  for (const [name, digest] of [...readManifest(files.get(MANIFEST)), ...readManifest(files.get(TAG_MANIFEST))]) {
    if (files.has(name) && await sha256(files.get(name)) !== digest) changed.push(name);
  }
  if (changed.length) refuse(`Changed since the shop listed them: ${changed.sort().join(", ")}`);
  return "No file was changed since the shop listed it (SHA-256)";
}

function fromPem(bytes, kind) {
  const found = text(bytes || new Uint8Array()).match(new RegExp(`^-----BEGIN ${kind}-----\n([A-Za-z0-9+/=\n]+)\n-----END ${kind}-----\n$`));
  if (!found) refuse(`The ${kind.toLowerCase()} cannot be read`);
  return Uint8Array.from(atob(found[1].replace(/\n/g, "")), (letter) => letter.charCodeAt(0));
}

function derSignature(raw) {
  const number = (bytes) => {
    let start = 0;
    while (start < bytes.length - 1 && bytes[start] === 0) start++;
    const body = bytes[start] & 0x80 ? join([0], bytes.subarray(start)) : bytes.subarray(start);
    return join([2, body.length], body);
  };
  const body = join(number(raw.subarray(0, 32)), number(raw.subarray(32)));
  return join([0x30, body.length], body);
}

function holdsBytes(whole, part) {
  for (let start = 0; start + part.length <= whole.length; start++) {
    if (part.every((byte, place) => whole[start + place] === byte)) return true;
  }
  return false;
}

async function checkSigned(files, publicKey, fingerprint) {
  if (!publicKey) refuse("The public key cannot be read");
  const raw = files.get(RAW) || new Uint8Array();
  const key = await crypto.subtle.importKey("spki", publicKey, { name: "ECDSA", namedCurve: "P-256" }, false, ["verify"])
    .catch(() => refuse("The public key cannot be read; expected ECDSA on P-256"));
  const holds = raw.length === 64 && await crypto.subtle.verify({ name: "ECDSA", hash: "SHA-256" }, key, raw, files.get(TAG_MANIFEST));
  if (!holds) refuse(`The list is not signed by the key ${inGroups(fingerprint)}`);
  if (!equal(derSignature(raw), files.get(DER) || [])) refuse("The two copies of the signature differ");
  if (!holdsBytes(fromPem(files.get(CERTIFICATE), "CERTIFICATE"), publicKey)) refuse("The certificate is for another key");
  return `The list is signed by the key ${inGroups(fingerprint)} (compare it with the paper)`;
}

const hasFields = (value, names) => value && Object.keys(value).sort().join() === names;

async function readLog(files) {
  const log = readCanonical(files.get("data/log.json") || new Uint8Array(), "The log’s part");
  const whole = (n) => Number.isSafeInteger(n) && n >= 0;
  if (!hasFields(log, "entries,format,head,receipts,subject") || log.format !== "samestone-log/1" || !whole(log.head.size) || !areDigests(log.head.root)) refuse("The log’s part is not in the format samestone-log/1");
  log.digests = new Map();
  for (const item of log.entries) {
    const entry = item.entry;
    const good = hasFields(item, "entry,payload,proof,salt") && hasFields(entry, "at,kind,number,payload_digest,previous,subject")
      && whole(entry.number) && MOMENT.test(entry.at) && areDigests(entry.payload_digest, entry.previous, item.salt)
      && [entry.kind, entry.subject].every((word) => typeof word === "string" && word);
    if (!good) refuse("The log’s part has an entry with a field missing or of the wrong kind");
    log.digests.set(entry.number, await leafDigest(entry));
  }
  for (const item of log.receipts) {
    const receipt = item.receipt, good = hasFields(item, "consistency,proof,receipt") && hasFields(receipt, "at,digest,format,key_fingerprint,number,root,size") && receipt.format === "samestone-receipt/1"
      && whole(receipt.number) && receipt.number < receipt.size && areDigests(receipt.digest, receipt.root, receipt.key_fingerprint);
    if (!good) refuse("The log’s part has a receipt with a field missing or of the wrong kind");
    if (!log.digests.has(receipt.number)) log.digests.set(receipt.number, receipt.digest);
  }
  return log;
}

async function checkPayloads(log) {
  for (const { entry, payload, salt } of log.entries) {
    const digest = await sha256(join(unhex(salt), bytesOf(canonical(payload))));
    if (digest !== entry.payload_digest) refuse(`Log entry ${entry.number} (${entry.kind}) stands for something else than what is shown`);
  }
  return `All log entries of this job (${log.entries.length}) say what was logged then`;
}

async function checkIncluded(log) {
  let before = -1;
  if (!log.entries.length) refuse("The log entries are missing, repeated or out of order");
  for (const { entry, proof } of log.entries) {
    if (entry.number <= before) refuse("The log entries are missing, repeated or out of order");
    before = entry.number;
    if (!await included(log.digests.get(entry.number), entry.number, proof, log.head)) refuse(`Log entry ${entry.number} (${entry.kind}) is not in the log of ${log.head.size} entries`);
    if (log.digests.has(entry.number - 1) && log.digests.get(entry.number - 1) !== entry.previous) refuse(`Log entry ${entry.number} does not follow entry ${entry.number - 1}`);
  }
  return `All of them are in the shop’s log, which had ${log.head.size} entries`;
}

const strings = (value) => typeof value === "string" ? [value] : value && typeof value === "object" ? Object.values(value).flatMap(strings) : [];

async function checkNamed(log, files) {
  const logged = new Set(log.entries.flatMap(({ payload }) => strings(payload)));
  const named = ["data/record.json", ...[...files.keys()].filter((name) => name.startsWith("data/photographs/")).sort()];
  const unknown = [];
  for (const name of named) if (files.has(name) && !logged.has(await sha256(files.get(name)))) unknown.push(name);
  if (unknown.length) refuse(`The log does not name ${unknown.join(", ")}: put in without a log entry`);
  return `The log names the record and every photograph (${named.length - 1})`;
}

async function checkPictures(record, files) {
  const listed = record && Array.isArray(record.photographs) ? record.photographs : [], others = [];
  for (const { name, sha256: digest } of listed.filter((item) => item && typeof item.sha256 === "string"))
    if (await sha256(files.get(`data/photographs/${name}`) || new Uint8Array()) !== digest) others.push(name);
  if (others.length) refuse(`Not the pictures that the record calls so: ${others.sort().join(", ")}`);
  return "The record is readable and written in the one canonical way";
}

async function checkReceipts(log) {
  for (const { receipt, proof, consistency } of log.receipts) {
    const isThere = log.digests.get(receipt.number) === receipt.digest && await included(receipt.digest, receipt.number, proof, log.head);
    if (!isThere || !await continues(receipt, consistency, log.head)) refuse(`The log is not the one that the receipt for entry ${receipt.number} was given from`);
  }
  return `The log still holds what its receipts for this job (${log.receipts.length}) promised`;
}

async function checkPacket({ files, wrapping }) {
  const checks = [], run = async (name, check) => {
    try { checks.push({ name, is: "holds", says: await check() }); } catch (error) {
      const said = error instanceof NotSo || error instanceof NotHere;
      checks.push({ name, is: error instanceof NotHere ? "open" : "fails", says: said ? error.message : `This could not be checked (${error.message})` });
    }
  };
  const packet = { files, log: null, record: null, key: "", checks };
  let publicKey = null;
  try { publicKey = fromPem(files.get(PUBLIC_KEY), "PUBLIC KEY"); packet.key = await sha256(publicKey); } catch { /* the signature's line says it */ }
  await run("wrapping", () => wrapping ? refuse(wrapping) : "The packet is byte for byte as it was written");
  await run("files", () => checkListed(files));
  await run("digests", () => checkUnchanged(files));
  await run("signature", () => checkSigned(files, publicKey, packet.key));
  await run("record", () => {
    packet.record = readCanonical(files.get("data/record.json") || new Uint8Array(), "The record");
    return checkPictures(packet.record, files);
  });
  await run("log", async () => { packet.log = await readLog(files); return "The log’s part is readable"; });
  if (packet.log) {
    checks.pop();
    await run("entries", () => checkPayloads(packet.log));
    await run("tree", () => checkIncluded(packet.log));
    await run("named", () => checkNamed(packet.log, files));
    await run("receipts", () => checkReceipts(packet.log));
    if (packet.record) await run("verdict", () => checkVerdict(packet.log, packet.record));
  }
  await run("statement", () => checkStatement(files));
  return packet;
}
