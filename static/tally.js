// The tally page, quicker: `<kit-tally>` counts each tap at once, keeps it on the phone and sends it
// when it can. The page inside it is plain forms and counts without this script too.
//
// A tap is written down before it is drawn and drawn before it is sent. It has an id of its own from
// the start, so that sending it again can never count it again.

const KEPT = "fieldstow.tally.";
const BATCH = 200;
const PATIENCE = 15000;
const FIRST_WAIT = 10000;
const LONGEST_WAIT = 60000;
const IDLE = 10000;

// Not `crypto.randomUUID`: a phone on a hall's own network has no secure context.
function drawId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

const byAge = (a, b) => a.done_at - b.done_at || a.nth - b.nth;

/** What was tapped and is not yet with the server. One stored entry for each tap, so that two pages
 * open on one phone never overwrite each other's. */
class Outbox {
  unstored = new Map();
  /** Ids this page knows to be with the server. */
  settled = new Set();

  /** False when the phone could not keep the tap; it then lives only as long as this page. */
  put(stint, tally) {
    try {
      localStorage.setItem(KEPT + stint + "." + tally.id, JSON.stringify(tally));
      return true;
    } catch {
      this.unstored.set(tally.id, { stint, tally });
      return false;
    }
  }

  take(stint, id) {
    this.settled.add(id);
    this.unstored.delete(id);
    try {
      localStorage.removeItem(KEPT + stint + "." + id);
    } catch {
      // Nothing of ours is in storage that cannot be reached.
    }
  }

  /** Everything waiting, by stint, oldest first. */
  all() {
    const found = new Map();
    const add = (stint, tally) => {
      if (!found.has(stint)) found.set(stint, []);
      found.get(stint).push(tally);
    };
    try {
      for (let n = 0; n < localStorage.length; n += 1) {
        const key = localStorage.key(n);
        if (!key.startsWith(KEPT)) continue;
        const [stint] = key.slice(KEPT.length).split(".");
        const tally = read(localStorage.getItem(key));
        if (tally) add(stint, tally);
      }
    } catch {
      // As above: what could not be stored is in `unstored`.
    }
    for (const { stint, tally } of this.unstored.values()) add(stint, tally);
    for (const tallies of found.values()) tallies.sort(byAge);
    return found;
  }

  of(stint, part) {
    return (this.all().get(stint) ?? []).filter((tally) => tally.part === part);
  }

  size() {
    let size = 0;
    for (const tallies of this.all().values()) size += tallies.length;
    return size;
  }
}

function read(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

/** Sends the outbox, one request at a time, and tries again for as long as it must. */
class Sender extends EventTarget {
  busy = false;
  again = false;
  wait = FIRST_WAIT;
  timer = 0;
  /** "" while all is well, else "away", "sign-in" or the number the server answered with. */
  trouble = "";

  constructor(outbox) {
    super();
    this.outbox = outbox;
    const now = () => this.send();
    addEventListener("online", now);
    addEventListener("pageshow", now);
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible") now();
    });
  }

  async send() {
    if (this.busy) {
      this.again = true;
      return;
    }
    this.busy = true;
    clearTimeout(this.timer);
    do {
      this.again = false;
      for (const [stint, tallies] of this.outbox.all()) {
        this.trouble = await this.post(stint, tallies.slice(0, BATCH));
        if (this.trouble) break;
        if (tallies.length > BATCH) this.again = true;
      }
    } while (this.again && !this.trouble);
    this.busy = false;
    this.wait = this.trouble ? Math.min(this.wait * 2, LONGEST_WAIT) : FIRST_WAIT;
    if (this.outbox.size() > 0) {
      this.timer = setTimeout(() => this.send(), this.trouble ? this.wait / 2 : FIRST_WAIT);
    }
    this.dispatchEvent(new Event("settled"));
  }

  /** Posts some tallies of one stint, named by its address; answers with the trouble, if any. */
  async post(stint, tallies) {
    const stop = new AbortController();
    const patience = setTimeout(() => stop.abort(), PATIENCE);
    try {
      const answer = await fetch(stint + "/tallies", {
        method: "POST",
        headers: { "content-type": "application/json", accept: "application/json" },
        body: JSON.stringify({ tallies: tallies.map(({ nth, ...tally }) => tally) }),
        redirect: "manual",
        keepalive: true,
        signal: stop.signal,
      });
      if (answer.status === 401 || answer.type === "opaqueredirect") return "sign-in";
      if (!answer.ok) return String(answer.status);
      const { results, totals } = await answer.json();
      const settled = results.filter(({ state }) => ["recorded", "again", "refused"].includes(state));
      // An answer that settles nothing would be asked for again without end.
      if (settled.length === 0) return "away";
      for (const { id } of settled) this.outbox.take(stint, id);
      this.dispatchEvent(new CustomEvent("answer", { detail: { stint, results, totals } }));
      return "";
    } catch {
      return "away";
    } finally {
      clearTimeout(patience);
    }
  }
}

const outbox = new Outbox();
const sender = new Sender(outbox);
let nth = 0;

const inWords = (amount) =>
  amount === 0 ? "none here" : amount > 0 ? "+ " + amount : "− " + -amount;

const number = (text) => (text === undefined || text === "" ? null : Number(text));

class KitTally extends HTMLElement {
  connectedCallback() {
    const { stint, part, shown, need, kitCounted, toCome, name, bag } = this.dataset;
    // `partId`, since every element already has a `part`.
    Object.assign(this, { stint, partId: part, name, bag });
    // What the server last said. What is on the screen is this and the taps still waiting.
    this.said = { shown: number(shown), counted: Number(kitCounted), toCome: Number(toCome) };
    this.need = number(need);
    this.made = this.madeBefore();

    this.on("[data-tally]", "submit", (event) => this.tap(event.submitter));
    this.on("[data-undo]", "submit", () => this.undo());
    this.on("[data-typed]", "submit", (event) => this.typed(event.target.elements.typed));
    this.find("[data-groups]")?.addEventListener("submit", ({ target }) => {
      target.elements.shown.value = this.shown() ?? "";
    });
    this.on("[data-type]", "click", () => this.querySelector("[name=typed]").focus());
    this.on("[data-change]", "click", () => this.change());
    this.on("[data-keep]", "click", () => this.keep());
    this.find("[data-counter]")?.addEventListener("keydown", (event) => this.key(event));

    sender.addEventListener("answer", (event) => this.answered(event.detail));
    sender.addEventListener("settled", () => this.tell());
    addEventListener("storage", (event) => this.elsewhere(event));
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible") this.wereHere();
    });

    this.draw();
    this.tell();
    this.rest();
    // Whoever reloads or comes back was interrupted.
    if (performance.getEntriesByType("navigation")[0]?.type !== "navigate") this.wereHere();
    sender.send();
  }

  find(selector) {
    return this.querySelector(selector);
  }

  on(selector, type, act) {
    this.find(selector)?.addEventListener(type, (event) => {
      event.preventDefault();
      act(event);
    });
  }

  /** The taps that can still be undone, oldest first: the server's, then those waiting. */
  madeBefore() {
    const listed = [...this.querySelectorAll("[data-made]")].reverse();
    let made = listed
      .filter((line) => !("undone" in line.dataset))
      .map(({ dataset }) => ({ id: dataset.made.replaceAll("-", ""), amount: Number(dataset.amount) }));
    for (const tally of outbox.of(this.stint, this.partId)) {
      if (tally.undoes) made = made.filter(({ id }) => id !== tally.undoes);
      else made.push(tally);
    }
    return made;
  }

  /** The number on the screen, or null while nothing was counted: blank is not zero. */
  shown() {
    const waiting = outbox.of(this.stint, this.partId);
    const undone = new Set(waiting.map((tally) => tally.undoes));
    const live = waiting.filter((tally) => !tally.undoes && !undone.has(tally.id));
    if (this.said.shown === null && live.length === 0) return null;
    return (this.said.shown ?? 0) + this.waitingSum(waiting);
  }

  waitingSum(waiting = outbox.of(this.stint, this.partId)) {
    return waiting.reduce((sum, tally) => sum + tally.amount, 0);
  }

  tap(key) {
    if (!key) return;
    const shown = this.shown() ?? 0;
    if ("none" in key.dataset && shown > 0) {
      this.note(shown + " are counted here. Take them back with − or Undo.");
    } else if ("all" in key.dataset) {
      const amount = Number(key.dataset.all) - shown;
      if (amount === 0) this.note("All " + shown + " are counted already.");
      else this.record(amount, null);
    } else if (shown + Number(key.value) < 0) {
      this.note(shown === 0 ? "There are none to take back." : "Only " + shown + " can be taken back.");
    } else {
      this.record(Number(key.value), null);
    }
  }

  undo() {
    const last = this.made.at(-1);
    if (last) this.record(-last.amount, last.id);
  }

  record(amount, undoes) {
    nth += 1;
    const tally = {
      id: drawId(),
      part: this.partId,
      amount,
      shown: this.shown(),
      undoes,
      done_at: Date.now(),
      nth,
    };
    outbox.put(this.stint, tally);
    if (undoes) this.made = this.made.filter(({ id }) => id !== undoes);
    else this.made.push(tally);
    this.hide("[data-refused]", "[data-question]", "[data-were-here]");
    this.draw();
    this.rest();
    sender.send();
    // A tap that is answered at once says nothing; only one that has to wait does.
    if (outbox.unstored.size > 0 || sender.trouble) this.tell();
    clearTimeout(this.slow);
    this.slow = setTimeout(() => this.tell(), 1000);
  }

  typed(field) {
    const text = field.value.replace(/[\s.,’']/g, "");
    if (!/^\d{1,6}$/.test(text)) {
      field.setAttribute("aria-invalid", "true");
      this.note("Type a whole number, such as 12.");
      return;
    }
    field.removeAttribute("aria-invalid");
    this.asked = Number(text);
    const need = this.need;
    // Typed numbers go wrong by a digit: far too many, or a tenth.
    if (need && (this.asked > 2 * need || (this.asked > 0 && this.asked * 10 <= need))) {
      this.find("[data-question-text]").textContent =
        `You typed ${this.asked}. The list needs ${need}.`;
      this.find("[data-keep]").textContent = "Keep " + this.asked;
      this.hide("[data-refused]", "[data-were-here]");
      this.find("[data-question]").hidden = false;
      this.find("[data-change]").focus();
    } else {
      this.keep();
    }
  }

  keep() {
    const shown = this.shown();
    this.hide("[data-question]");
    this.find("[name=typed]").value = "";
    if (shown === this.asked) this.note(shown + " is the number already.");
    else this.record(this.asked - (shown ?? 0), null);
    this.find("[data-counter]")?.focus();
  }

  change() {
    this.hide("[data-question]");
    this.find("[name=typed]").select();
  }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const pressed = { "+": "[data-more]", "-": "[data-less]", "−": "[data-less]" }[event.key];
    if (pressed) this.tap(this.find(pressed));
    else if (event.key.toLowerCase() === "u") this.undo();
    else return;
    event.preventDefault();
  }

  answered({ stint, results, totals }) {
    if (stint !== this.stint) return;
    for (const { part, stint: inStint, kit_counted, still_to_come } of totals ?? []) {
      if (part === this.partId) {
        this.said = { shown: inStint, counted: kit_counted, toCome: still_to_come };
      }
    }
    for (const { id, state, why } of results) {
      if (state !== "refused") continue;
      this.made = this.made.filter((tally) => tally.id !== id);
      this.note("Not saved: " + why);
    }
    this.draw();
  }

  /** Another page on this phone sent a tap of ours: it is with the server now, no longer waiting. */
  elsewhere({ key, oldValue, newValue }) {
    if (!key?.startsWith(KEPT + this.stint + ".")) return;
    const gone = newValue === null ? read(oldValue) : null;
    if (gone?.part === this.partId && !outbox.settled.has(gone.id)) {
      outbox.settled.add(gone.id);
      this.said.shown = (this.said.shown ?? 0) + gone.amount;
      this.said.counted += gone.amount;
      this.said.toCome -= gone.amount;
    }
    this.draw();
    this.tell();
  }

  draw() {
    const shown = this.shown();
    const sum = this.waitingSum();
    const output = this.find("[data-number]");
    output.textContent = shown === null ? "not counted" : String(shown);
    output.toggleAttribute("data-blank", shown === null);
    output.toggleAttribute("data-waiting", outbox.of(this.stint, this.partId).length > 0);
    drawGates(this.find("[data-gates]"), shown ?? 0);
    const allHere = this.find("[data-all-here]");
    if (allHere) allHere.hidden = !this.need || shown !== this.need;
    // Seen at a glance or counted, not both: a second press would add them again.
    const all = this.find("[data-all]");
    if (all) all.hidden = shown !== null;
    const over = this.need === null ? 0 : (shown ?? 0) - this.need;
    const overMark = this.find("[data-over]");
    if (overMark) overMark.hidden = over <= 0;
    this.write("[data-over-by]", over);
    this.write("b[data-kit-counted]", this.said.counted + sum);
    this.write("b[data-to-come]", Math.max(0, this.said.toCome - sum));
    const last = this.made.at(-1);
    const undo = this.find("[data-undo]");
    if (undo) undo.hidden = !last;
    if (last) this.write("[data-undo-what]", inWords(last.amount));
  }

  write(selector, text) {
    const place = this.find(selector);
    if (place) place.textContent = text;
  }

  hide(...selectors) {
    for (const selector of selectors) {
      const place = this.find(selector);
      if (place) place.hidden = true;
    }
  }

  /** Says at the line why nothing was counted. It stays until the next tap. */
  note(sentence) {
    const line = this.find("[data-refused]");
    if (line) {
      line.textContent = sentence;
      line.hidden = false;
    }
    this.say(sentence);
  }

  /** The truth about what was tapped, in one sentence. */
  tell() {
    const waiting = outbox.size();
    const line = this.find("[data-refused]");
    if (outbox.unstored.size > 0) {
      this.say(
        "Not saved: this phone cannot keep taps. Leave the page open, and write the number down.",
      );
    } else if (waiting === 0) {
      this.say(line && !line.hidden ? line.textContent : "Saved");
    } else if (sender.trouble === "sign-in") {
      this.say("Sign in again; your taps are kept on this phone");
    } else if (sender.trouble && sender.trouble !== "away") {
      this.say(`Not saved: the server answered ${sender.trouble}. ${waiting} kept on this phone`);
    } else {
      this.say("Saved on this phone, " + waiting + " waiting to send");
    }
    const signIn = this.find("[data-sign-in]");
    if (signIn) signIn.hidden = sender.trouble !== "sign-in";
  }

  say(sentence) {
    const status = this.find("[data-status]");
    if (status && status.textContent !== sentence) status.textContent = sentence;
  }

  /** After a pause people repeat a piece more often than they skip one, so say which is next. */
  rest() {
    clearTimeout(this.idle);
    this.idle = setTimeout(() => this.wereHere(), IDLE);
  }

  wereHere() {
    const shown = this.shown();
    const line = this.find("[data-were-here]");
    if (!line || shown === null) return;
    line.textContent = `You were here: ${this.name} · ${this.bag} · ${shown} counted. Next piece is number ${shown + 1}.`;
    line.hidden = false;
  }
}

const SVG = "http://www.w3.org/2000/svg";
const BARS = ["M4 3v20", "M12 3v20", "M20 3v20", "M28 3v20", "M1 20 31 6"];

/** The same gates as `components/gates.html` draws. */
function drawGates(place, n) {
  if (!place) return;
  const drawn = Math.min(n, 50);
  const gates = [];
  for (let left = drawn; left > 0; left -= 5) gates.push(gate(Math.min(left, 5)));
  if (n > 50) {
    const more = document.createElement("span");
    more.textContent = "and " + (n - 50) + " more";
    gates.push(more);
  }
  place.replaceChildren(...gates);
  place.setAttribute("aria-label", n + " in five-bar gates");
}

function gate(bars) {
  const width = Math.min(bars, 4) * 8;
  const svg = document.createElementNS(SVG, "svg");
  const path = document.createElementNS(SVG, "path");
  const set = (element, values) => {
    for (const [name, value] of Object.entries(values)) element.setAttribute(name, value);
  };
  set(svg, { width, height: 26, viewBox: "0 0 " + width + " 26", "aria-hidden": "true" });
  set(path, {
    d: BARS.slice(0, bars).join(""),
    fill: "none",
    stroke: "currentColor",
    "stroke-width": 3,
    "stroke-linecap": "round",
  });
  svg.append(path);
  return svg;
}

customElements.define("kit-tally", KitTally);
// On a page without a tally what waits is sent all the same.
sender.send();
