// Acts as a small picture: the record's place over time, and beside it blocks wherever the fader is
// open. Down the map's columns, time going down; on the stage, in the deck's own box, to the right.
import { node, set } from "/dial.js";

const LEFT = 16, RIGHT = 74;     // where the record's place goes in a column, of 100
const FADER = { x: 84, width: 12 };

export function drawnActs({ line, open }, beats) {
  // A whole set piece for a column of the map, forward to the right.
  const tallest = Math.max(1e-6, ...line.map(([, turns]) => turns));
  const down = (beat) => Math.min(100, Math.max(0, (100 * beat) / beats));
  const points = shownPoints(line, 0, beats).map(([beat, turns]) => `${(LEFT + ((RIGHT - LEFT) * turns) / tallest).toFixed(2)},${down(beat).toFixed(2)}`);
  const blocks = open.map(([from, to]) => node("rect", { class: "fader", ...FADER, y: down(from).toFixed(2), height: Math.max(0.2, down(to) - down(from)).toFixed(2) }));
  return node("g", {}, node("polyline", { class: "acts-line", points: points.join(" ") }), ...blocks);
}

// -- on the stage

// A beat is at least so many arc minutes wide: a stroke of half a beat is then three, thrice what
// 20/20 resolves (ISO 8596). Where there is no room for that nothing is drawn.
export const BEAT_MINUTES = 6;
const LINE_MINUTES = 1.6;
const AHEAD_BEATS = 1;           // of what comes after the page is seen before it turns
const MOST_BARS = 2;
const LEAST_TURNS = 0.25;        // the height of the picture: all that a page moves, or this

export function pageBeats(side, minute, metre) {
  // How many beats a page goes on by, in a box `side` wide; 0 where it has no room for one bar.
  const room = Math.floor(side / (BEAT_MINUTES * minute) + 1e-6) - AHEAD_BEATS;
  return metre * Math.min(MOST_BARS, Math.max(0, Math.floor(room / metre)));
}

export class Ahead {
  // A deck's acts, page by page: a page stands still while what is over goes grey, from the left;
  // so that no spot of it changes twice before the page turns.
  constructor(svg, side) {
    Object.assign(this, { svg, side, acts: null, step: 0 });
  }

  lay({ w, h, minute, metre }) {
    this.step = pageBeats(w, minute, metre);
    Object.assign(this, { w, h, minute, clip: node("rect", { y: 0, height: h }), gone: node("rect", { y: 0, height: h, x: 0 }) });
    set(this.svg, { viewBox: `0 0 ${w} ${h}` });
    this.svg.style.fontSize = `${h / 4}px`;
  }

  page(at, piece, edition) {
    // {place, from, piece, edition}: the page on which the count stands; null where nothing is to be drawn.
    if (!this.step || !piece?.acts?.[this.side] || at.left === null) return null;
    const gone = Math.max(0, at.length - at.left);
    return { place: at.place, from: piece.from_beat + this.step * Math.floor(gone / this.step + 1e-6), piece: piece.index, edition };
  }

  draw(page, routine) {
    const { w, h, minute } = this, beats = this.step + AHEAD_BEATS, unit = w / beats;
    const thick = LINE_MINUTES * minute, floor = h * 0.66, axis = h * 0.74, fader = { y: h * 0.8, height: h * 0.16 };
    const x = (beat) => (beat - page.from) * unit;
    const lines = [], blocks = [];
    // Scaled by what the page moves: a small stroke in a wide set piece is to be seen too.
    for (const { acts, from_beat: from } of routine.pieces) {
      const mine = acts?.[this.side];
      if (!mine) continue;
      const points = shownPoints(mine.line, page.from - from, page.from + beats - from);
      const turns = points.map(([, at]) => at), low = Math.min(...turns);
      const tall = Math.max(LEAST_TURNS, Math.max(...turns) - low);
      const y = (at) => floor - thick / 2 - ((floor - thick) * (at - low)) / tall;
      if (points.length) lines.push(points.map(([beat, at]) => `${x(from + beat).toFixed(1)},${y(at).toFixed(1)}`).join(" "));
      for (const [start, end] of mine.open) {
        const a = Math.max(0, x(from + start)), b = Math.min(w, x(from + end));
        if (b > a) blocks.push({ x: a.toFixed(1), width: Math.max(b - a, minute).toFixed(1), ...fader });
      }
    }
    const ticks = Array.from({ length: beats }, (_, k) => `M${(k * unit + minute / 2).toFixed(1)} ${axis - minute * 1.5}V${axis + minute * 1.5}`).join("");
    const picture = (clip) => node("g", { "clip-path": `url(#${this.side}-${clip})`, class: clip },
      node("path", { class: "axis", d: `M0 ${axis}H${w}${ticks}`, "stroke-width": minute }),
      ...blocks.map((block) => node("rect", { class: "fader", ...block })),
      ...lines.map((points) => node("polyline", { class: "line", points, "stroke-width": thick })));
    this.svg.replaceChildren(
      node("defs", {}, node("clipPath", { id: `${this.side}-over` }, this.gone), node("clipPath", { id: `${this.side}-coming` }, this.clip)),
      picture("over"), picture("coming"));
    this.shown = page;
    this.#sweepTo(0);
  }

  sweep(at, piece) {
    // How much of the page is over; nothing moves while the count stands at another place.
    if (!this.shown || at.place !== this.shown.place || piece.index !== this.shown.piece) return;
    const beat = piece.from_beat + Math.max(0, at.length - at.left) - this.shown.from;
    this.#sweepTo(Math.min(this.w, Math.max(this.sweptTo, Math.round((beat / (this.step + AHEAD_BEATS)) * this.w))));
  }

  #sweepTo(now) {
    this.sweptTo = now;
    set(this.gone, { width: now });
    set(this.clip, { x: now, width: this.w - now });
  }
}

function shownPoints(line, from, to) {
  // The part of a line within two beats, cut where it crosses them.
  const found = [];
  for (let k = 1; k < line.length; k++) {
    const [a, p] = line[k - 1], [b, q] = line[k];
    if (b < from || a > to) continue;
    const at = (beat) => (b > a ? p + ((q - p) * (beat - a)) / (b - a) : q);
    const start = [Math.max(a, from), a < from ? at(from) : p], end = [Math.min(b, to), b > to ? at(to) : q];
    if (!found.length) found.push(start);
    found.push(end);
  }
  return found;
}
