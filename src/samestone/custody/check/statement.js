// ---- the statement: a PDF, read as far as the file attached to it (ISO 32000-1, 7.3, 7.5, 7.7.4, 7.11.4) ----------

const SPACE = /(?:[\0\t\n\f\r ]|%[^\r\n]*)*/y, END = "[\\0\\t\\n\\f\\r ()<>\\[\\]{}/%]";
const TOKEN = new RegExp(`<<|>>|[\\[\\]({})]|<[0-9A-Fa-f\\0\\t\\n\\f\\r ]*>|/?(?:(?!${END})[^])+|/`, "y");
const REFERENCE = new RegExp(`(\\d+)[\\0\\t\\n\\f\\r ]+\\d+[\\0\\t\\n\\f\\r ]+R(?=${END}|$)`, "y");
const OBJECT = /\s*(\d+)\s+\d+\s+obj/y, STREAM = /\s*stream\r?\n/y;
const MOST_TABLES = 100, MOST_STEPS = 10_000, MOST_UNPACKED = 2 ** 26;
const letters = (bytes) => new TextDecoder("latin1").decode(bytes); // one letter a byte, so that places stay the same

// Reads values one after the other: numbers, /names and (strings as text, arrays, Maps, { ref } to another object.
class PdfText {
  constructor(said, place = 0) { this.said = said; this.place = place; }

  match(pattern) {
    pattern.lastIndex = this.place;
    const found = pattern.exec(this.said);
    if (found) this.place = pattern.lastIndex;
    return found;
  }

  value() {
    this.match(SPACE);
    const reference = this.match(REFERENCE);
    if (reference) return { ref: Number(reference[1]) };
    const [token] = this.match(TOKEN) || refuse("it ends too early");
    if (token === "<<") {
      const parts = this.until(">>");
      return new Map(parts.flatMap((key, n) => n % 2 ? [] : [[key, parts[n + 1]]]));
    }
    if (token === "[") return this.until("]");
    if (token === "(") return `(${this.string()}`;
    if (token[0] === "<") return `(${letters(unhex(token.replace(/[^0-9A-Fa-f]/g, "").replace(/^(?:..)*.$/, "$&0")))}`;
    if (token[0] === "/") return token.replace(/#([0-9A-Fa-f]{2})/g, (_, digits) => String.fromCharCode(parseInt(digits, 16)));
    return /^[+-]?\d*\.?\d*$/.test(token) ? Number(token) : token;
  }

  until(closing) {
    const found = [];
    for (let next = this.value(); next !== closing; next = this.value()) found.push(next);
    return found;
  }

  string() {
    let written = "";
    for (let depth = 1; ; this.place++) {
      let letter = this.said[this.place] ?? refuse("it ends too early");
      if (letter === "(") depth++;
      if (letter === ")" && --depth === 0) { this.place++; return written; }
      if (letter === "\\") {
        const [escape] = this.said.slice(this.place + 1).match(/^(?:[0-7]{1,3}|\r\n|[^])/);
        this.place += escape.length;
        letter = /^[0-7]/.test(escape) ? String.fromCharCode(parseInt(escape, 8) & 255) : /^[\r\n]/.test(escape) ? "" : { n: "\n", r: "\r", t: "\t", b: "\b", f: "\f" }[escape] ?? escape;
      }
      written += letter;
    }
  }
}

class Pdf {
  constructor(bytes) { this.bytes = bytes; this.said = letters(bytes); this.where = new Map(); this.trailer = null; this.steps = 0; }

  static async open(bytes) {
    const pdf = new Pdf(bytes), start = pdf.said.lastIndexOf("startxref");
    if (!pdf.said.startsWith("%PDF-") || start < 0) refuse("it does not begin and end as one");
    let place = new PdfText(pdf.said, start + 9).value();
    for (let n = 0; place !== undefined; n++) { // from the last addition back to the first writing
      if (n === MOST_TABLES || !Number.isSafeInteger(place) || place < 0) refuse("its tables of objects lead nowhere");
      const trailer = await pdf.readTable(place);
      pdf.trailer ||= trailer;
      if (trailer.has("/XRefStm")) await pdf.readTable(trailer.get("/XRefStm"));
      place = trailer.get("/Prev");
    }
    if (pdf.trailer.has("/Encrypt")) refuse("it is encrypted");
    return pdf;
  }

  async readTable(place) {
    const text = new PdfText(this.said, place);
    const put = (number, entry) => { if (!this.where.has(number)) this.where.set(number, entry); };
    if (!text.match(/\s*xref\s/y)) {
      const { facts, content } = await this.stream(await this.objectAt(place));
      this.readCrossStream(facts, content, put);
      return facts;
    }
    for (let part = text.match(/\s*(\d+)\s+(\d+)(?=\s)/y); part; part = text.match(/\s*(\d+)\s+(\d+)(?=\s)/y)) {
      for (let n = Number(part[1]), last = n + Number(part[2]); n < last; n++) {
        const [, offset, used] = text.match(/\s*(\d{10}) \d{5} ([nf])/y) || refuse("a table of its objects is damaged");
        put(n, used === "n" ? { offset: Number(offset) } : null);
      }
    }
    return text.match(/\s*trailer/y) ? text.value() : refuse("a table of its objects is damaged");
  }

  readCrossStream(facts, content, put) {
    const widths = facts.get("/W"), index = facts.get("/Index") || [0, facts.get("/Size")];
    if (!(widths[0] + widths[1] + widths[2] > 0)) refuse("a table of its objects is damaged");
    let at = 0;
    const number = (width) => { let n = 0; for (const stop = at + width; at < stop; at++) n = n * 256 + content[at]; return n; };
    for (let pair = 0; pair < index.length; pair += 2) {
      for (let n = index[pair], last = n + index[pair + 1]; n < last; n++) {
        if (at >= content.length) refuse("a table of its objects is damaged");
        const kind = widths[0] ? number(widths[0]) : 1, [first] = [number(widths[1]), number(widths[2])];
        put(n, kind === 1 ? { offset: first } : kind === 2 ? { inside: first } : null);
      }
    }
  }

  async follow(value) {
    while (value && value.ref !== undefined) value = await this.object(value.ref);
    return value;
  }

  async object(number) {
    if (++this.steps > MOST_STEPS) refuse("its objects lead in a circle");
    const entry = this.where.get(number);
    if (!entry) return null;
    if (entry.inside !== undefined) return this.objectInside(entry.inside, number);
    const found = await this.objectAt(entry.offset);
    return found.number === number ? found.value : refuse(`its object ${number} is not where its table says`);
  }

  async objectAt(place) {
    const text = new PdfText(this.said, place), head = text.match(OBJECT) || refuse("an object is not where its table says");
    const value = text.value();
    if (value instanceof Map && text.match(STREAM)) value.start = text.place;
    return { number: Number(head[1]), value };
  }

  async objectInside(holder, number) {
    const { facts, content } = await this.stream({ value: await this.object(holder) });
    const text = new PdfText(letters(content)), first = facts.get("/First");
    for (let n = 0; n < facts.get("/N"); n++) {
      const [name, place] = [text.value(), text.value()];
      if (name === number) return new PdfText(text.said, first + place).value();
    }
    return null;
  }

  // What a stream holds, and its dictionary; only what is stored plainly or deflated, as this program writes.
  async stream({ value: facts }) {
    if (!(facts instanceof Map) || facts.start === undefined) refuse("a stream in it is missing");
    const [length, filter, how] = await Promise.all(["/Length", "/Filter", "/DecodeParms"].map((key) => this.follow(facts.get(key))));
    const packed = this.bytes.subarray(facts.start, facts.start + length), filters = [filter ?? []].flat();
    if (filters.length > 1 || (filters[0] ?? "/FlateDecode") !== "/FlateDecode" || [how ?? []].flat().some((step) => step?.get?.("/Predictor") > 1)) refuse("a stream in it is packed in another way than the program does");
    return { facts, content: filters.length ? await inflate(packed, MOST_UNPACKED, "deflate") : packed };
  }

  // The files attached, by name; a tree of names may have branches.
  async attached() {
    const found = new Map(), into = async (from, key) => this.follow((await this.follow(from))?.get?.(key));
    const nodes = [await into(await into(await into(this.trailer, "/Root"), "/Names"), "/EmbeddedFiles")];
    while (nodes.length) {
      const node = await this.follow(nodes.pop());
      nodes.push(...(await into(node, "/Kids") ?? []));
      const names = await into(node, "/Names") ?? [];
      for (let at = 0; at < names.length; at += 2) {
        const file = await into(await into(names[at + 1], "/EF"), "/F");
        found.set((await this.follow(names[at])).slice(1), (await this.stream({ value: file })).content);
      }
    }
    return found;
  }
}

async function checkStatement(files) {
  const attached = await Pdf.open(files.get("data/statement.pdf") || new Uint8Array()).then((pdf) => pdf.attached())
    .catch((error) => refuse(`The statement is no PDF that can be read; its record cannot be compared (${error.message})`));
  if (!attached.has("record.json")) refuse("The statement has no record attached; the one that it was printed from is not known");
  if (!equal(attached.get("record.json"), files.get("data/record.json") || [])) refuse("The statement was printed from another record: the one attached to it is not the packet’s");
  return "The record attached to the statement is the packet’s record, byte for byte";
}

// ---- the verdict, as the log has it ------------------------------------------------------------------------------

const alike = (one, other) => canonical(one ?? null) === canonical(other ?? null);

// Whether a log entry says what the record does; earlier versions kept a picture line in the log alone.
function says(payload, stone) {
  const line = payload?.pictures?.line ?? null;
  const alone = line !== null && typeof line === "object" && !("method" in line) && (stone.pictures ?? null) === null;
  return alike(payload?.verdict, stone.verdict) && (alone || alike(line, stone.pictures));
}

function checkVerdict(log, record) {
  const reached = log.entries.filter(({ entry }) => entry.kind === "verdict reached").map(({ payload }) => payload);
  const stones = record.stones === undefined ? [record] : record.stones;
  if (!stones.length) refuse("The record has no stone in stones");
  if (!reached.length) throw new NotHere("No log entry in this packet says that a verdict was reached: the record alone has it");
  const apart = stones.filter((stone) => !reached.some((payload) => says(payload, stone)));
  if (apart.length) refuse(`The log knows no verdict as the record has it on: ${apart.map((stone) => stone.name || "the stone").join(", ")}`);
  return "The log holds what the record says, verdict and pictures, as it was reached";
}
