// The stage view's hand: brings each status to the screen, frame by frame. Told the time; the clock,
// the stream and the frames are stage.js's.
import { Ahead } from "/acts.js";
import { Count } from "/beats.js";
import { Dial, node, set } from "/dial.js";
import { fit } from "/fit.js";
import { BOX, DECK, LOOKS, PAGE, Shown } from "/gate.js";
import { picture } from "/picture.js";
import { CAPITAL } from "/sizes.js";

const TEXTS = { label: 1, clock: 1, name: 2, prompt: 2, now: 1, tempo: 1, "left-order": 1, "right-order": 1 };
const GROWS = { name: 1.9 };     // over the good size, where there is room
const SIDES = ["left", "right"];
const RIM = 1000;                // the rim's length in its own units

export class Show {
  constructor(root, { still = false } = {}) {
    this.root = root;
    this.body = root.ownerDocument.body;
    this.still = still;
    this.count = new Count();
    this.status = this.routine = this.laid = null;
    this.look = new Shown(LOOKS, (a, b) => a.key === b.key);
    this.shown = {};
    this.dials = Object.fromEntries(SIDES.map((side) => [side, new Dial(this.box(side).querySelector("svg"))]));
    this.ahead = Object.fromEntries(SIDES.map((side) => [side, new Ahead(this.box(side).querySelector(".ahead"), side)]));
    this.measure = measurer(root.ownerDocument);
  }

  box(name) { return this.root.querySelector(`#${name}`); }

  // -- the screen

  lay(laid) {
    // Puts every box in its place; those that were dropped are not there at all.
    this.laid = laid;
    for (const box of this.root.querySelectorAll(".box")) {
      const at = laid.boxes[box.id];
      box.hidden = !at;
      if (at) Object.assign(box.style, { left: `${at.x}px`, top: `${at.y}px`, width: `${at.w}px`, height: `${at.h}px` });
    }
    this.shown = {};
    this.#layCount(laid);
    for (const side of SIDES) this.#layDeck(side, laid);
    this.#layStrip();
  }

  #layCount({ boxes: { count }, least }) {
    const thick = Math.max(4, Math.min(count.w, count.h) * 0.07);
    this.rim = { thick, ...count };
    const beats = this.box("beats");
    const high = Math.max(6, Math.min(count.h * 0.06, least * 0.3));
    const round = Math.min(count.w, count.h) * 0.14;
    Object.assign(beats.style, { left: `${round + thick}px`, right: `${round + thick}px`, bottom: `${thick * 1.7}px`, height: `${high}px` });
    // One size for 1 to 99: two digits must fit beside the rim, their capitals above the beats.
    const room = { w: count.w - thick * 3.4, h: count.h - thick * 4.6 - high };
    const px = Math.min(room.w / (2 * this.measure("8") - 0.02), room.h / CAPITAL);
    Object.assign(this.box("bars").style, { fontSize: `${px}px`, top: `${thick}px`, bottom: `${thick * 2.1 + high}px` });
    this.#drawRim();
  }

  #drawRim() {
    const { w, h, thick } = this.rim;
    const m = thick / 2, r = Math.min(w, h) * 0.14;
    const d = `M${w / 2} ${m}H${w - m - r}A${r} ${r} 0 0 1 ${w - m} ${m + r}V${h - m - r}A${r} ${r} 0 0 1 ${w - m - r} ${h - m}H${m + r}A${r} ${r} 0 0 1 ${m} ${h - m - r}V${m + r}A${r} ${r} 0 0 1 ${m + r} ${m}Z`;
    const path = (name, width) => node("path", { class: name, d, pathLength: RIM, ...(width ? { "stroke-width": width } : {}) });
    this.rimLeft = path("left", thick);
    this.rimCuts = path("cuts", thick + 2);
    this.rimBars = null;
    this.box("rim").replaceChildren(path("track"), this.rimLeft, this.rimCuts);
  }

  #layDeck(side, { boxes, least, minute }) {
    const box = this.box(side), at = boxes[side];
    box.style.setProperty("--bracket", `${Math.max(4, at.w * 0.045)}px`);
    const clear = at.w * 0.06;
    for (const svg of box.querySelectorAll("svg")) {
      Object.assign(svg.style, { inset: `${clear}px`, width: `${at.w - 2 * clear}px`, height: `${at.h - 2 * clear}px` });
    }
    this.ahead[side].lay({ w: at.w - 2 * clear, h: at.h - 2 * clear, minute, metre: this.routine?.metre ?? 4 });
    const px = Math.max(least, at.w * 0.25);
    box.querySelector(".amount").style.fontSize = `${px}px`;
    box.classList.toggle("bare", px > at.w * 0.3); // no room for rings beside the number
  }

  // -- the routine

  know(routine) {
    this.routine = routine;
    this.box("title").textContent = routine.title;
    if (!this.laid) return;
    this.#layStrip();
    for (const side of SIDES) this.#layDeck(side, this.laid);
  }

  #layStrip() {
    const strip = this.box("strip"), at = this.laid?.boxes.strip;
    if (!this.routine || !at) return;
    const h = at.h;
    const unit = at.w / this.routine.beats, lower = h * 0.42;
    const bars = this.routine.pieces.map((piece) => {
      const high = (h - lower) * (0.35 + 0.13 * piece.energy);
      return node("rect", { x: piece.from_beat * unit + 1, y: h - high, width: Math.max(1, piece.bars * this.routine.metre * unit - 2), height: high, rx: 1.5 });
    });
    this.mark = node("path", { class: "mark", d: "" });
    this.strip = { unit, lower, bars };
    strip.replaceChildren(node("svg", { "aria-hidden": "true" }, ...bars, this.mark));
  }

  // -- what is told

  hear(status, now) {
    this.status = status;
    this.count.hear(status, now);
  }

  draw(now, { old = false, ageMs = 0, more = "" } = {}) {
    // One frame.
    if (!this.laid) return;
    const found = picture(this.status, { routine: this.routine, old, ageMs });
    const at = this.#where(now, old);
    this.#lookAt(found, now);
    const { card } = this.look.value.found;
    // The label counts bars, so it changes with them; names and orders come with the look.
    this.#text("label", found.card.label, now);
    this.#text("name", card.name, now);
    this.#text("prompt", card.prompt, now);
    this.#text("clock", found.clock, now);
    this.#text("tempo", found.tempo, now);
    this.#text("now", more || found.now, now);
    this.#bars(at, now);
    for (const side of SIDES) this.#deck(side, found, at, now);
    this.#mark(at);
  }

  #where(now, old) {
    // Where the count is; it goes on freely, but leaps to another place only through a gate.
    const at = this.count.at(now);
    const leapt = this.#wish("place", at.place, now);
    if (!this.lastAt || leapt || (!old && this.shown.place.value === at.place)) this.lastAt = at;
    return this.lastAt;
  }

  #lookAt(found, now) {
    // Everything that changes the picture as a whole, through one gate.
    const key = [found.ink, found.state, found.card.name, found.card.prompt, found.next.join()].join("\u0000");
    if (!this.look.wish({ key, found }, now)) return;
    this.body.dataset.ink = found.ink;
    this.body.dataset.state = found.state;
    for (const side of SIDES) this.box(side).classList.toggle("next", found.next.includes(side));
  }

  #wish(name, value, now) {
    this.shown[name] ??= new Shown(BOX);
    return this.shown[name].wish(value, now);
  }

  #text(name, text, now) {
    const at = this.laid.boxes[name];
    if (!at || !this.#wish(name, [text].flat().join("\u0000"), now)) return;
    const { least, good } = this.laid;
    const size = Math.max(least, Math.min(at.h / 1.02, good * (GROWS[name] ?? 1)));
    const room = { width: at.w, height: at.h, size, least, lines: TEXTS[name], measure: this.measure };
    const { lines, size: px } = shortest([text].flat(), room);
    const box = this.box(name);
    box.style.fontSize = `${px}px`;
    box.replaceChildren(...lines.map((line) => {
      const span = box.ownerDocument.createElement("span");
      span.className = "line";
      span.dir = "auto";
      span.textContent = line;
      return span;
    }));
  }

  #bars(at, now) {
    const text = at.bars === null ? "–" : String(Math.min(at.bars, 999));
    if (this.#wish("bars", text, now)) {
      const bars = this.box("bars");
      bars.textContent = text;
      bars.setAttribute("aria-label", at.bars === null ? "no count" : `${at.bars} ${at.bars === 1 ? "bar" : "bars"} left`);
    }
    const left = at.left === null ? 0 : (at.left / at.length) * RIM;
    set(this.rimLeft, { "stroke-dasharray": `0 ${(RIM - left).toFixed(1)} ${left.toFixed(1)} ${RIM}` });
    const count = at.piece?.bars ?? 0;
    if (this.rimBars !== count) {
      this.rimBars = count;
      const unit = RIM / Math.max(count, 1), cut = Math.min(unit * 0.16, 6);
      set(this.rimCuts, { "stroke-dasharray": count > 1 && count <= 64 ? `${cut} ${unit - cut}` : `0 ${RIM}` });
    }
    this.#beats(at, now);
  }

  #beats(at, now) {
    const row = this.box("beats");
    const metre = this.still || at.beat === null ? 0 : this.status.routine?.metre ?? 4;
    if (!this.#wish("beats", `${metre}:${at.beat}`, now)) return;
    while (row.childElementCount > metre) row.lastChild.remove();
    while (row.childElementCount < metre) row.append(row.ownerDocument.createElement("li"));
    [...row.children].forEach((one, k) => one.classList.toggle("here", k + 1 === at.beat));
  }

  #deck(side, found, at, now) {
    const key = `deck ${side}`;
    this.shown[key] ??= new Shown(DECK, (a, b) => a.mark === b.mark && a.words === b.words && samePage(a.page, b.page));
    const deck = { ...found.decks[side], page: this.#page(side, found.decks[side], at, now) };
    const turned = this.shown[key].wish(deck, now);
    const held = this.shown[key].value;
    const box = this.box(side);
    this.dials[side].draw({ ...held, at: held.at == null ? null : deck.at ?? held.at }, now, this.still);
    if (turned) {
      this.#amount(side, held.amount, this.laid.boxes[side]);
      if (held.page) this.ahead[side].draw(held.page, this.routine);
      box.classList.toggle("drawn", Boolean(held.page));
    }
    if (held.page && !this.still) this.ahead[side].sweep(at, this.routine.pieces[at.piece?.index] ?? {});
    const words = `${side}-order`;
    this.#text(words, held.brief ?? held.words, now);
    const order = this.box(words);
    if (!order.hidden) order.classList.toggle("firm", box.classList.contains("next"));
    box.setAttribute("aria-label", `${side} deck: ${held.words}`);
  }

  #page(side, deck, at, now) {
    // The page of its acts that a worked deck shows; it turns no oftener than its gate lets it.
    const piece = deck.mark === "works" && at.piece ? this.routine?.pieces[at.piece.index] : null;
    const page = this.ahead[side].page(at, piece, this.routine?.edition);
    if (!page) return null;
    const key = `page ${side}`;
    this.shown[key] ??= new Shown(PAGE, samePage);
    this.shown[key].wish(page, now);
    const held = this.shown[key].value;
    return held.piece === page.piece && held.edition === page.edition ? held : null;
  }

  #amount(side, text, at) {
    // Tenths only where they fit beside the band.
    const amount = this.box(side).querySelector(".amount");
    const px = Math.max(this.laid.least, at.w * 0.25);
    const fits = this.measure(text) * px <= at.w * 0.56;
    // Without a number the deck's letter stands there, as large as it goes.
    amount.style.fontSize = `${Math.max(this.laid.least, at.w * (text ? 0.25 : 0.36))}px`;
    amount.classList.toggle("letter", !text);
    amount.textContent = !text ? side[0].toUpperCase() : fits || !text.includes(".") ? text : String(Math.round(Number(text)) || "<1");
  }

  #mark(at) {
    if (!this.mark || !this.strip) return;
    const piece = at.piece && this.routine.pieces[at.piece.index];
    if (!piece || at.left === null) { set(this.mark, { d: "" }); return; }
    const gone = piece.from_beat + Math.max(0, at.length - at.left);
    const x = gone * this.strip.unit, half = this.strip.lower * 0.62;
    set(this.mark, { d: `M${(x - half).toFixed(1)} 0H${(x + half).toFixed(1)}L${x.toFixed(1)} ${this.strip.lower.toFixed(1)}Z` });
    this.strip.bars.forEach((bar, k) => bar.classList.toggle("gone", k < piece.index));
  }
}

function samePage(a, b) { return a === b || (a && b && ["place", "from", "piece", "edition"].every((key) => a[key] === b[key])); }

function shortest(texts, room) {
  // The first way of saying it that has room uncut; else the last of them, cut.
  let found;
  for (const text of texts) {
    found = fit(text, room);
    if (!found.shortened) break;
  }
  return found;
}

function measurer(document) {
  // Widths at font size 1, by the letters the page is set in.
  const context = document.createElement("canvas").getContext("2d");
  const known = new Map();
  return (text) => {
    if (!known.has(text)) {
      context.font = `700 100px ${getComputedStyle(document.body).fontFamily}`;
      known.set(text, context.measureText(text).width / 100);
    }
    return known.get(text);
  };
}
