// A set piece's acts as a small picture: time runs down, the record's place goes across (forward to
// the right), and at the outer edge a block stands wherever the fader is open.
import { node } from "/dial.js";

const LEFT = 16, RIGHT = 74;     // where the record's place goes, of 100
const FADER = { x: 84, width: 12 };

export function drawnActs({ line, open }, beats) {
  const tallest = Math.max(1e-6, ...line.map(([, turns]) => turns));
  const down = (beat) => Math.min(100, Math.max(0, (100 * beat) / beats));
  const points = line.map(([beat, turns]) => `${(LEFT + ((RIGHT - LEFT) * turns) / tallest).toFixed(2)},${down(beat).toFixed(2)}`);
  const blocks = open.map(([from, to]) => node("rect", { class: "fader", ...FADER, y: down(from).toFixed(2), height: Math.max(0.2, down(to) - down(from)).toFixed(2) }));
  return node("g", {}, node("polyline", { class: "acts-line", points: points.join(" ") }), ...blocks);
}
