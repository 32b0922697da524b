// A deck as a record seen from above: where its sticker is, where it must come up, which way and
// how far. Shapes alone tell it; closed means ready.
const SVG = "http://www.w3.org/2000/svg";
const BAND = 43;                 // radius of the outer band, of 50
const MOST_RINGS = 2;            // whole turns drawn as rings; the number tells the rest
const FASTEST_DEG_S = 240;       // the drawn sticker turns no faster, and back no sooner: a spot is
const TURN_BACK_MS = 1000;       // passed once a second
const STICKER_SHOWN = ["wind", "needle", "rests", "runs"];

export function node(name, attributes = {}, ...inside) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}

export function spot(degrees, radius) {
  // Where an angle lies, clockwise from the top.
  const turned = (degrees * Math.PI) / 180;
  return [radius * Math.sin(turned), -radius * Math.cos(turned)];
}

export function arc(from, to, radius) {
  // The way along a circle from one angle to another, clockwise where `to` is greater.
  const by = Math.min(Math.abs(to - from), 359.9) * Math.sign(to - from || 1);
  const [x0, y0] = spot(from, radius), [x1, y1] = spot(from + by, radius);
  return `M${x0.toFixed(2)} ${y0.toFixed(2)}A${radius} ${radius} 0 ${Math.abs(by) > 180 ? 1 : 0} ${by > 0 ? 1 : 0} ${x1.toFixed(2)} ${y1.toFixed(2)}`;
}

function head(degrees, forward, radius, size) {
  // An arrow's head lying on the circle, its point at `degrees`.
  const back = degrees + (forward ? -1 : 1) * (size / radius) * (180 / Math.PI) * 1.2;
  const corners = [spot(degrees, radius), spot(back, radius - size * 0.75), spot(back, radius + size * 0.75)];
  return `M${corners.map(([x, y]) => `${x.toFixed(2)} ${y.toFixed(2)}`).join("L")}Z`;
}

function dart(degrees) {
  // The needle, set down at the target from outside.
  const corners = [spot(degrees, 30), spot(degrees - 16, 54), spot(degrees + 16, 54)];
  return `M${corners.map(([x, y]) => `${x.toFixed(2)} ${y.toFixed(2)}`).join("L")}Z`;
}

export class Dial {
  constructor(svg) {
    this.svg = svg;
    svg.setAttribute("viewBox", "-55 -55 110 110");
    this.parts = {};
    for (const [name, tag] of [["disc", "circle"], ["band", "circle"], ["rings", "g"], ["arc", "path"], ["head", "path"], ["target", "path"], ["sticker", "path"]]) {
      this.parts[name] = node(tag, { class: name });
      svg.append(this.parts[name]);
    }
    set(this.parts.disc, { r: 47 });
    set(this.parts.band, { r: BAND });
    this.angle = null;
    this.drawnAt = null;
    this.way = 0;
    this.turnedAt = -Infinity;
  }

  draw(deck, now, still) {
    // `deck` is picture.js's; drawn anew only where something differs.
    const { mark } = deck;
    set(this.svg, { "data-mark": mark });
    const whole = mark === "wind" ? Math.min(Math.floor(Math.abs(deck.wind)), MOST_RINGS) : 0;
    this.#rings(whole);
    this.#way(deck);
    this.#sticker(deck, now, still);
  }

  #rings(count) {
    const { rings } = this.parts;
    if (rings.childElementCount === count) return;
    rings.replaceChildren(...Array.from({ length: count }, (_, k) => node("circle", { r: BAND - 7.5 - 4.5 * k })));
  }

  #way(deck) {
    const { arc: way, head: point, target } = this.parts;
    const cue = deck.cueAt;
    const shown = deck.mark === "wind" || deck.mark === "needle";
    set(target, { d: shown && cue != null ? `M${spot(cue, 35).join(" ")}L${spot(cue, 54).join(" ")}` : "" });
    if (deck.mark === "wind" && cue != null) {
      const forward = deck.wind > 0;
      const part = Math.abs(deck.wind) % 1;
      const turned = Math.round(Math.max(part, 0.1) * 64) / 64 * 360;
      set(way, { d: arc(cue - (forward ? turned : -turned), cue, BAND) });
      set(point, { d: head(cue, forward, BAND, 20) });
    } else if (deck.mark === "works") {
      set(way, { d: arc(-60, 60, BAND) });
      set(point, { d: head(64, true, BAND, 15) + head(-64, false, BAND, 15) });
    } else if (deck.mark === "needle") {
      set(way, { d: "" });
      set(point, { d: cue == null ? "" : dart(cue) });
    } else {
      set(way, { d: "" });
      set(point, { d: "" });
    }
  }

  #sticker(deck, now, still) {
    // Steers after where the sticker is, no faster than a spot may change.
    const { sticker } = this.parts;
    const passed = this.drawnAt === null ? 0 : Math.max(0, now - this.drawnAt) / 1000;
    this.drawnAt = now;
    const shown = deck.at != null && STICKER_SHOWN.includes(deck.mark) && !(still && deck.mark === "runs");
    if (!shown) { set(sticker, { d: "" }); return; }
    this.angle ??= deck.at;
    const off = ((deck.at - this.angle + 540) % 360) - 180;
    const way = Math.sign(off);
    const back = way !== 0 && way !== this.way;
    if (!back || now - this.turnedAt > TURN_BACK_MS) {
      if (back) { this.way = way; this.turnedAt = now; }
      const most = FASTEST_DEG_S * passed;
      this.angle += Math.max(-most, Math.min(most, off));
    }
    const drawn = Math.round(this.angle * 2) / 2;
    set(sticker, { d: `M${spot(drawn, 30).map((v) => v.toFixed(2)).join(" ")}L${spot(drawn, 39).map((v) => v.toFixed(2)).join(" ")}` });
  }
}

export function set(element, attributes) {
  for (const [key, value] of Object.entries(attributes)) {
    const text = String(value);
    if (element.getAttribute(key) !== text) element.setAttribute(key, text);
  }
}
