// The rehearsal's page: what to do now, the tempo, the last take, and the clicks of the count-in.
import { Awake } from "/awake.js";
import { dress } from "/choices.js";
import { Clicks } from "/clicks.js";
import { Dial } from "/dial.js";
import { listen } from "/keys.js";
import { mapLine, picture } from "/picture.js";
import { Stream, sayWord } from "/stream.js";

const PHASES = { wind: "Bring both records to their cues", ready: "Hold them: the count-in comes", "count-in": "Count-in", take: "Take" };
const SHAPES = { left: "circle", right: "diamond" };
const WORDS = ["again", "next", "keep", "drop", "slower", "faster", "mark", "take start", "take stop"];

const still = matchMedia("(prefers-reduced-motion: reduce)");
const find = (id) => document.getElementById(id);
const dials = Object.fromEntries(["left", "right"].map((side) => [side, new Dial(find(`cue-${side}`).querySelector("svg"))]));
let clicks = null, latest = null;
let offsetMs = null;      // the page's clock less the daemon's, in ms

// -- the stream

const stream = new Stream((status) => { latest = status; show(latest); });
const said = (words) => text("said", words);
dress();
new Awake();
listen(said);

setInterval(() => {
  const old = stream.isOld();
  find("stale").hidden = !old;
  document.body.classList.toggle("old", old);
}, 500); // an old mark that came and went would do so twice a second at most
document.addEventListener("visibilitychange", () => {
  if (!document.hidden) { compareClocks(); clicks?.context.resume(); }
});

find("words").append(...WORDS.map((word) => {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = word;
  button.addEventListener("click", async () => said(await sayWord(word)));
  return button;
}));

// -- the clocks

async function compareClocks() {
  // The quickest of a few answers knows the daemon's clock best (Cristian 1989): half its way there.
  let best = Infinity, found = null;
  for (let go = 0; go < 8; go++) {
    const asked = performance.now();
    try {
      const answer = await (await fetch("/rehearse/clock", { cache: "no-store" })).json();
      const back = performance.now();
      if (back - asked < best) { best = back - asked; found = (asked + back) / 2 - answer.now_s * 1000; }
    } catch { return; }
  }
  offsetMs = found;
}
setInterval(compareClocks, 20000);

// -- showing

function text(id, value) {
  const node = find(id);
  if (node.textContent !== value) node.textContent = value;
}

function row(id, count, look) {
  const list = find(id);
  while (list.children.length > count) list.lastChild.remove();
  while (list.children.length < count) list.append(document.createElement("li"));
  [...list.children].forEach((item, k) => { const as = look(k); if (item.className !== as) item.className = as; });
}

function show(status) {
  const it = status.rehearsal;
  if (!it) return;
  document.body.dataset.phase = it.phase;
  text("aim", it.piece ?? `${status.routine?.title ?? "Routine"}, all of it`);
  text("count-of-takes", it.takes ? `${it.takes} ${it.takes === 1 ? "take" : "takes"}, ${it.clean} clean` : "");
  showNow(status, it);
  showLadder(it);
  showLast(it.last);
  showCare(it, status.map);
  if (clicks && it.count_in && offsetMs !== null) clicks.play(it.count_in, (s) => s * 1000 + offsetMs);
  if (clicks && !it.count_in) clicks.drop();
}

function showNow(status, it) {
  text("phase", PHASES[it.phase]);
  const cues = Object.entries(it.at_cue);
  // Before a take nothing sounds: what a deck is told is the way to its cue.
  const found = picture({ ...status, state: "before" });
  for (const side of ["left", "right"]) {
    const there = it.at_cue[side];
    find(`cue-${side}`).hidden = there === undefined || it.phase === "take" || it.phase === "count-in";
    find(`cue-${side}`).classList.toggle("there", Boolean(there));
    const deck = found.decks[side], words = there ? "is at its cue" : ["wind", "unheard"].includes(deck.mark) ? deck.words : "not there yet";
    dials[side].draw(there ? { mark: "ready" } : deck, performance.now(), still.matches);
    find(`cue-${side}`).lastElementChild.textContent = `${side} record: ${words}`;
  }
  if (cues.length === 1 && it.phase === "wind") text("phase", `Bring the ${cues[0][0]} record to its cue`);
  if (it.phase === "take") {
    const alone = it.piece !== null && it.bars_left !== null;
    const left = alone ? it.bars_left : status.bars_left, all = Math.ceil(status.piece?.bars ?? 0);
    text("big", left === null || left === undefined ? "–" : `${left}`);
    text("small", `${left === 1 ? "bar" : "bars"} left${alone || status.state === "following" ? "" : ", unsure"}`);
    row("row", all, (k) => (k < all - left ? "done" : k === all - left ? "here" : "left"));
  } else if (it.calibration) {
    text("phase", it.calibration.says);
    text("big", `${it.calibration.done}`);
    text("small", it.calibration.so_far);
    row("row", 0, () => "");
  } else if (it.phase === "count-in" && it.count_in) {
    const beat = it.count_in.beat;
    text("big", beat ? `${((beat - 1) % it.count_in.metre) + 1}` : "–");
    text("small", beat ? "let go on the beat after the count" : "ready");
    row("row", it.count_in.beats, (k) => (beat && k === beat - 1 ? "here" : beat && k < beat ? "done" : ""));
  } else {
    text("big", it.phase === "ready" ? "Hold" : "Wind");
    text("small", `${it.tempo.toFixed(1)} BPM`);
    row("row", 0, () => "");
  }
}

function signed(value, digits) {
  return `${value > 0 ? "+" : value < 0 ? "−" : "±"}${Math.abs(value).toFixed(digits)}`;
}

function showLadder(it) {
  const ladder = it.ladder;
  text("pitch", ladder ? `${signed(ladder.pitch, 1)} %` : "±0.0 %");
  text("tempo", ladder ? `${it.tempo.toFixed(1)} BPM, ${(100 * ladder.part).toFixed(0)} % of full tempo` : `${it.tempo.toFixed(1)} BPM, full tempo`);
  row("rungs", ladder?.rungs ?? 0, (k) => (k === ladder.rung - 1 ? "here" : k < ladder.rung ? "climbed" : ""));
  text("climb", !ladder ? "" : ladder.rung === ladder.rungs ? "The top of the ladder: full tempo" : `${ladder.in_a_row} of ${ladder.up_after} clean in a row for the next rung`);
  find("decks").hidden = !it.decks;
  text("decks", it.decks ? `${it.decks[0].toUpperCase()}${it.decks.slice(1)}` : "");
  find("held-up").hidden = !ladder?.held_up;
  if (ladder?.held_up) text("held-up", `${(100 * ladder.wanted_part).toFixed(0)} % lies beyond the fader's ${ladder.pitch_range} %: the ladder starts where the fader ends`);
}

function showLast(last) {
  if (!last) return;
  text("last-number", last.number ? `no. ${last.number}` : "");
  const verdict = last.ended === "abandoned" && !last.clean ? "given up" : last.verdict;
  find("verdict").className = last.clean ? "clean" : "not";
  text("verdict", verdict[0].toUpperCase() + verdict.slice(1));
  const parts = [];
  if (last.bias_ms !== null) parts.push(Math.abs(last.bias_ms) < 0.5 ? "on time" : `${Math.abs(last.bias_ms).toFixed(0)} ms ${last.bias_ms > 0 ? "late" : "early"}`);
  if (last.spread_ms !== null) parts.push(`spread ${last.spread_ms.toFixed(0)} ms`);
  for (const word of ["missed", "added"]) if (last[word]) parts.push(`${last[word]} ${word}`);
  text("figures", parts.join(", ") || "no act to time in it");
  find("advice").replaceChildren(...[...Object.values(last.advice ?? {}), ...Object.values(last.faders ?? {})].map((sentence) => {
    const line = document.createElement("li");
    line.textContent = `${sentence}.`.replace("..", ".");
    return line;
  }));
  const named = last.pieces.length > 1 && last.verdict === "not clean";
  const why = last.pieces.filter((p) => p.verdict === last.verdict && p.why.length).map((p) => (named ? `${p.name}: ` : "") + p.why.join(", "));
  text("why", [...new Set(why)].join("; "));
  showStrip(last);
}

function node(name, attributes, content = "") {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.textContent = content;
  return made;
}

let stripOf = null;
function showStrip(last) {
  // Every act on one line of early and late: left hand round and filled, right hand a hollow diamond.
  if (stripOf === last.pieces[0]?.events.length + ":" + last.bias_ms + ":" + last.number) return;
  stripOf = last.pieces[0]?.events.length + ":" + last.bias_ms + ":" + last.number;
  const strip = find("strip");
  strip.replaceChildren();
  const events = last.pieces.flatMap((p) => p.events).filter((e) => e.error_ms !== null);
  strip.toggleAttribute("hidden", events.length === 0); // an SVG element has no `hidden` of its own
  const most = Math.max(60, ...events.map((e) => Math.abs(e.error_ms)));
  const x = (ms) => 200 + (185 * ms) / most;
  strip.append(node("line", { x1: 10, x2: 390, y1: 46, y2: 46, class: "faint" }), node("line", { x1: 200, x2: 200, y1: 14, y2: 70, class: "firm" }));
  const stacked = new Map();
  for (const event of events) {
    const slot = Math.round(x(event.error_ms) / 9), up = stacked.get(slot + event.side) ?? 0;
    stacked.set(slot + event.side, up + 1);
    const cx = slot * 9, cy = event.side === "left" ? 39 - 7 * Math.min(up, 3) : 53 + 7 * Math.min(up, 3);
    strip.append(SHAPES[event.side] === "circle"
      ? node("circle", { cx, cy, r: 4, class: "left" })
      : node("path", { d: `M${cx} ${cy - 5}l5 5-5 5-5-5z`, class: "right" }));
  }
  strip.append(node("text", { x: 10, y: 12 }, `early ${most.toFixed(0)} ms`), node("text", { x: 390, y: 12, "text-anchor": "end" }, `late ${most.toFixed(0)} ms`),
    node("text", { x: 10, y: 88 }, "● left hand"), node("text", { x: 390, y: 88, "text-anchor": "end" }, "◇ right hand"));
}

function showCare(it, map) {
  const pause = it.break, minutes = Math.floor(pause.hands_on_s / 60);
  find("break").classList.toggle("due", pause.due);
  text("break", pause.due ? `Time for a break: ${minutes} minutes with hands on. Five minutes off.` : `Hands on for ${minutes} min; a break after ${Math.round(pause.after_s / 60)}`);
  text("caution", pause.caution);
  find("noise").hidden = !it.noise;
  if (it.noise) text("noise", it.noise);
  const wrong = [it.error, ...(mapLine(map) ? map.says : [])].filter(Boolean).join(" ");
  find("error").hidden = !wrong;
  if (wrong) text("error", wrong);
}

// -- sound

find("sound-on").addEventListener("click", async () => {
  if (!clicks) {
    clicks = new Clicks(new AudioContext({ latencyHint: "interactive" }), (set) => document.dispatchEvent(new CustomEvent("click-set", { detail: set })));
    loudness();
  }
  const on = find("sound-on").getAttribute("aria-pressed") !== "true";
  await (on ? clicks.context.resume() : clicks.context.suspend());
  find("sound-on").setAttribute("aria-pressed", `${on}`);
  find("sound-on").textContent = on ? "Clicks are heard" : "Let the clicks be heard";
});

function loudness() {
  // From nothing to -12 dBFS; the start at 12 of 100 is about -49 dBFS.
  const part = find("volume").value / 100;
  text("volume-is", find("volume").value);
  if (clicks) clicks.volume = Math.max(0.25 * part * part, 0.00001);
}
find("volume").addEventListener("input", loudness);
find("count-now").addEventListener("click", () => fetch("/rehearse/count-in", { method: "POST" }));

compareClocks();
