// What stands where on the stage page, for one screen: boxes in pixels and the size of letters in
// them. Pure, and worked out once a screen, never by what is told: so that no box ever moves.
import { GOOD, LEAST, fontPx } from "/sizes.js";

const LINE = 1.02;               // line height over font size
// What goes first where not everything fits; count, next deck, name and ready never go.
export const DROPPED_IN_ORDER = ["tempo", "now", "acts", "clock", "label", "orders", "prompt"];
const CORNER = 52;               // the button keeps the corner, in px
const ROOM_TO_GROW = GOOD / LEAST; // the next name may be of good size everywhere, not just the least
const OF_COUNT = { flat: 0.37, upright: 0.26 }; // of the height, what the count keeps at least

// Kept of three that were drawn: the decks stand where they stand on the table, the name has the
// whole width. With the count in one half the decks were crowded into the other and names broken;
// with one great ring in the middle its corners stayed empty and the name came last.
export function layout(screen) { return screen.width > 1.15 * screen.height ? flat(screen) : upright(screen); }

function flat(screen) {
  const { keep, pad, inner, line } = begin(screen);
  const rows = (on) => [
    ["top", on.label || on.clock ? line : 0],
    ["name", Math.min(line * 1.9, Math.max(line * ROOM_TO_GROW, inner.h * 0.2))],
    ["prompt", on.prompt ? line : 0],
    ["middle", null],
    ["foot", on.now || on.tempo || on.acts ? line : 0],
    ["strip", strip(screen)],
  ];
  const { on, at } = settle(screen, inner, rows, keep, OF_COUNT.flat);
  const row = { ...at.middle, h: at.middle.h - (on.orders ? line : 0) };
  const wing = Math.min(row.h, inner.w * 0.3);
  const side = on.orders ? Math.max(wing, Math.min(line * 3.7, inner.w * 0.3)) : wing;
  const far = inner.x + inner.w - side;
  const boxes = {
    ...top(at, on, inner, line), name: at.name, prompt: on.prompt && at.prompt, strip: clear(at.strip),
    left: square(inner.x + (side - wing) / 2, row, wing), right: square(far + (side - wing) / 2, row, wing),
    count: { x: inner.x + side + pad * 2, y: at.middle.y, w: inner.w - 2 * side - 4 * pad, h: at.middle.h },
    ...foot(at, on, inner),
  };
  if (on.orders) {
    const under = { y: at.middle.y + row.h, w: side, h: line };
    boxes["left-order"] = { ...under, x: inner.x };
    boxes["right-order"] = { ...under, x: far };
  }
  return finish(boxes, on, screen);
}

function upright(screen) {
  const { keep, pad, inner, line } = begin(screen);
  const dial = (inner.w - pad) / 2;
  const rows = (on) => [
    ["top", on.label || on.clock ? line : 0],
    ["name", 2 * line * ROOM_TO_GROW],
    ["prompt", on.prompt ? 2 * line : 0],
    ["middle", null],
    ["decks", Math.min(dial, inner.h * 0.28)],
    ["orders", on.orders ? line : 0],
    ["foot", on.now || on.tempo || on.acts ? line : 0],
    ["strip", strip(screen)],
  ];
  const { on, at } = settle(screen, inner, rows, keep, OF_COUNT.upright);
  const side = Math.min(dial, at.decks.h);
  const boxes = {
    ...top(at, on, inner, line), name: at.name, prompt: on.prompt && at.prompt, count: at.middle, strip: clear(at.strip),
    left: square(inner.x + (dial - side) / 2, at.decks, side),
    right: square(inner.x + inner.w - dial + (dial - side) / 2, at.decks, side),
    ...foot(at, on, inner),
  };
  if (on.orders) {
    boxes["left-order"] = { ...at.orders, w: dial };
    boxes["right-order"] = { ...at.orders, x: inner.x + inner.w - dial, w: dial };
  }
  return finish(boxes, on, screen);
}

function begin({ width, height, minute, text = 1 }) {
  const pad = Math.min(Math.max(6, 1.5 * minute), 0.04 * Math.min(width, height));
  const keep = Object.fromEntries(DROPPED_IN_ORDER.map((name) => [name, true]));
  const line = fontPx(LEAST, minute) * LINE * text;
  return { keep, pad, line, inner: { x: pad, y: pad, w: width - 2 * pad, h: height - 2 * pad } };
}

function strip({ minute }) { return Math.max(16, 6 * minute); }

function settle(screen, inner, rows, keep, part) {
  // Drops lines in order until the count has its part, then gives every row its place.
  const on = { ...keep };
  const gap = Math.max(4, screen.minute);
  const spare = () => inner.h - rows(on).reduce((sum, [, h]) => sum + (h ? h + gap : 0), 0);
  const least = inner.h * part;
  for (const name of DROPPED_IN_ORDER) {
    if (spare() >= least) break;
    on[name] = false;
  }
  // Too far away for any of it: the count keeps its part, and what no longer fits stays empty.
  const fixed = inner.h - spare();
  const squeezed = spare() < least ? (inner.h - least) / fixed : 1;
  const at = {};
  let y = inner.y;
  for (const [name, h] of rows(on)) {
    const height = h === null ? Math.max(spare(), least) : h * squeezed;
    at[name] = { x: inner.x, y, w: inner.w, h: height };
    y += height ? height + gap * squeezed : 0;
  }
  return { on, at };
}

function top(at, on, inner, line) {
  const clock = line * 3.4;
  const room = inner.w - (on.clock ? clock : 0);
  const wide = room >= line * 3 && on.label;
  return {
    label: wide && { ...at.top, w: room },
    clock: on.clock && inner.w >= clock && { ...at.top, x: inner.x + inner.w - clock, w: clock },
  };
}

function foot(at, on, inner) {
  if (!at.foot?.h) return {};
  const tempo = at.foot.h * 3.6, room = clear(at.foot);
  const wide = on.tempo && inner.w > tempo * 2.4;
  return {
    now: on.now && { ...room, w: room.w - (wide ? tempo : 0) },
    tempo: wide && { ...room, x: room.x + room.w - tempo, w: tempo },
  };
}

function clear(row) { return { ...row, w: row.w - CORNER }; }

function square(x, row, side) { return { x, y: row.y + Math.max(0, (row.h - side) / 2), w: side, h: side }; }

function finish(boxes, on, screen) {
  const kept = Object.fromEntries(Object.entries(boxes).filter(([, box]) => box && box.w > 0 && box.h > 0));
  return {
    boxes: kept,
    minute: screen.minute,
    least: fontPx(LEAST, screen.minute) * (screen.text ?? 1),
    good: fontPx(GOOD, screen.minute) * (screen.text ?? 1),
    dropped: DROPPED_IN_ORDER.filter((name) => !on[name]),
  };
}
