// The map view: the whole routine as a picture, a mark moving down it. Tap a set piece to say "here"
// or to rehearse it.
import { drawnActs } from "/acts.js";
import { Awake } from "/awake.js";
import { Count } from "/beats.js";
import { dress } from "/choices.js";
import { node } from "/dial.js";
import { listen } from "/keys.js";
import { element } from "/panel.js";
import { barsSaid, clock, picture } from "/picture.js";
import { Stream, sayWord } from "/stream.js";
import { BOX, LOOKS, Shown } from "/gate.js";

const BAR_PX = 8;                // height of a bar, where a row has more than its least
const ACTS_PX = 20;              // the same, where its acts are drawn
const MOST_PX = 220;
const TAKES_MS = 15000;
const find = (id) => document.getElementById(id);
const count = new Count();
const look = new Shown(LOOKS), words = new Shown(BOX);
let routine = null, status = null, rows = [], edition = null, takes = new Map(), shownPiece = null;

dress();
new Awake();

// -- the picture

function drawLane(hand, side, tight, acts) {
  const lane = element("div", { class: `lane ${side}`, "aria-hidden": "true" });
  const shapes = {
    runs: () => node("rect", { class: "runs", x: 30, y: 2, width: 40, height: 96 }),
    works: () => node("path", { class: "works", d: `M50 0${Array.from({ length: 10 }, (_, k) => `L${k % 2 ? 22 : 78} ${5 + 10 * k}`).join("")}L50 100` }),
    rests: () => node("path", { class: "rests", d: "M50 0V100" }),
  };
  lane.append(node("svg", { viewBox: "0 0 100 100", preserveAspectRatio: "none" }, acts ?? shapes[hand]()));
  if (tight) {
    const d = tight.severity === "error" ? "M3 3L10 7L17 3L13 10L17 17L10 13L3 17L7 10Z" : "M2 3H18L10 17Z";
    lane.append(node("svg", { class: "tight", viewBox: "0 0 20 20" }, node("path", { d, class: tight.severity === "error" ? "impossible" : "" })));
  }
  return lane;
}

function sentence(words) {
  return words[0].toUpperCase() + words.slice(1);
}

function drawRow(piece) {
  const tightAt = (side) => piece.tight.find((one) => one.side === side) ?? (side === "left" ? piece.tight.find((one) => !one.side) : undefined);
  const energy = node("svg", { class: "energy", viewBox: "0 0 56 32", "aria-hidden": "true" },
    ...[1, 2, 3, 4, 5].map((step) => node("rect", { class: step <= piece.energy ? "full" : "", x: 1 + 11 * (step - 1), y: 31 - 6 * step, width: 9, height: 6 * step })));
  const facts = `${barsSaid(piece.bars)}, ${piece.technique}, ${Math.round(piece.tempo)} BPM, from ${clock(piece.from_s)}, energy ${piece.energy} of 5`;
  const errors = element("span", { class: "errors" }, ...tellTake(piece.index), ...piece.tight.map((one) => `${sentence(one.says)}. `));
  const button = element("button", { type: "button", onclick: () => choosePiece(piece) },
    element("span", { class: "name", dir: "auto" }, piece.name), element("span", { class: "facts" }, facts), errors, energy);
  const acts = (side) => piece.acts?.[side] && drawnActs(piece.acts[side], Math.round(piece.bars * routine.metre));
  const lane = (side) => drawLane(piece.hands[side], side, tightAt(side), acts(side));
  const row = element("li", {}, lane("left"), button, lane("right"));
  row.style.minHeight = `${Math.min(MOST_PX, Math.max(56, piece.bars * (Object.keys(piece.acts ?? {}).length ? ACTS_PX : BAR_PX)))}px`;
  return row;
}

function tellTake(index) {
  // The last take's errors in this set piece, where takes are kept here.
  const take = takes.get(routine.pieces[index].name);
  return take ? [`Last take ${take}. `] : [];
}

function draw() {
  if (!routine) return;
  find("title").textContent = `${routine.title}: map`;
  rows = routine.pieces.map(drawRow);
  find("pieces").replaceChildren(...rows);
  shownPiece = null;
}

// -- what is told

async function learn() {
  // The whole routine, also where only a stretch of it is rehearsed.
  const told = status.whole?.edition;
  if (!told || told === edition) return;
  edition = told;
  try { routine = await (await fetch("/whole.json")).json(); draw(); } catch { edition = null; }
}

async function lookAtTakes() {
  // Only served while takes are kept (`liveaid rehearse`): on stage it is not asked for.
  if (!status?.rehearsal) return;
  try {
    const answer = await fetch("/review.json", { cache: "no-store" });
    if (!answer.ok) return;
    takes = byPiece((await answer.json()).takes ?? []);
    draw();
  } catch { /* asked again soon */ }
}

function byPiece(found) {
  // By name, latest first: what was edited or moved since keeps its own.
  const by = new Map();
  for (const take of found) {
    for (const one of take.pieces ?? []) {
      if (by.has(one.name)) continue;
      const bias = one.bias_ms == null ? "" : Math.abs(one.bias_ms) < 0.5 ? ", on time" : `, ${Math.abs(one.bias_ms).toFixed(0)} ms ${one.bias_ms > 0 ? "late" : "early"}`;
      const misses = [["missed", one.missed], ["added", one.added]].filter(([, many]) => many).map(([word, many]) => `, ${many} ${word}`).join("");
      by.set(one.name, `${one.verdict}${bias}${misses}`);
    }
  }
  return by;
}

const stream = new Stream((told, now) => {
  const first = !status;
  status = told;
  count.hear(told, now);
  learn();
  if (first) lookAtTakes();
});

function frame(now) {
  const old = stream.isOld(now);
  const found = picture(status, { routine, old, ageMs: stream.ageMs(now) });
  if (look.wish(found.ink, now)) {
    document.body.dataset.ink = found.ink;
    find("stale").hidden = !old;
    document.body.classList.toggle("old", old);
  }
  if (rows.length && !old) move(count.at(now));
  const [label, name] = [found.card.label, found.card.name].map((ways) => [ways].flat()[0]);
  const said = status?.piece ? `${label}: ${name}` : name;
  if (words.wish(said, now)) find("where").textContent = said;
  requestAnimationFrame(frame);
}

function move(at) {
  const mark = find("here"), piece = status?.piece;
  const index = (status?.whole?.first ?? 0) + (piece?.index ?? 0), row = rows[index];
  if (!piece || !row || at.left === null) { mark.style.display = "none"; return; }
  const gone = (status.whole?.gone_beats?.[piece.index] ?? 0) + at.length - at.left;
  const part = Math.min(1, gone / (routine.pieces[index].bars * routine.metre));
  mark.style.display = "block";
  mark.style.transform = `translateY(${(row.offsetTop + row.offsetHeight * part).toFixed(1)}px)`;
  if (shownPiece === index) return;
  shownPiece = index;
  rows.forEach((one, k) => one.setAttribute("aria-current", String(k === index)));
  row.scrollIntoView({ block: "nearest" });
}

// -- a set piece chosen

function choosePiece(piece) {
  const dialog = find("chosen"), said = element("p", { role: "status", class: "quiet" });
  const say = (word) => async () => { said.textContent = await sayWord(word, piece.index); };
  dialog.replaceChildren(
    element("h2", { id: "chosen-name", dir: "auto" }, piece.name),
    element("p", { dir: "auto" }, piece.prompt ?? ""),
    ...piece.tight.map((one) => element("p", {}, `${one.side ? `${one.side}: ` : ""}${one.says}.`)),
    element("div", { class: "acts" },
      element("button", { type: "button", onclick: say("here") }, "I am here"),
      status?.rehearsal ? element("button", { type: "button", onclick: say("take start") }, "Rehearse it") : null,
      element("button", { type: "button", onclick: () => dialog.close() }, "Close")),
    status?.rehearsal ? "" : element("p", { class: "quiet" }, "To rehearse it: ", element("code", {}, `liveaid rehearse … --piece "${piece.name}"`)),
    said);
  dialog.showModal();
}

listen((text) => { find("where").textContent = text; });
setInterval(lookAtTakes, TAKES_MS);
requestAnimationFrame(frame);
