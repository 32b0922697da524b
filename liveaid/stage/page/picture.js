// What the page says for one status: words and shapes, no pixels. Pure.
// Ink tells how far to trust it, by shape before hue: full is sure, outlined unsure, hatched by the
// clock, struck old.
export const SOON_BARS = 2;      // from so many bars before a change the card says what to do now
const QUIET_MS = 2000;           // a sender that always sends has lost its deck after this
const NO_WORD = ["No word from liveaid", "No word"];
const READY = { mark: "ready", words: "ready at its cue", brief: ["ready"], amount: "" };
const INKS = { unsure: "outlined", silent: "hatched" };

export function picture(status, { routine = null, old = false, ageMs = 0 } = {}) {
  const base = status ?? { state: "waiting", decks: {} };
  return {
    ink: old ? "struck" : INKS[base.state] ?? "full",
    state: old ? "old" : base.state,
    card: card(base, routine, old, ageMs),
    now: nowLine(base),
    clock: clockLine(base),
    tempo: base.tempo == null ? "" : `${Math.round(base.tempo)} BPM`,
    next: base.state === "before" && base.first?.length ? base.first : base.next_cue ?? [],
    decks: { left: deck(base, "left"), right: deck(base, "right") },
    notices: notices(base),
  };
}

export function barsSaid(bars) {
  // `1 bar`, `2 1/2 bars`: a last bar that is cut short is told as its share.
  const whole = Math.floor(bars + 1e-9), rest = bars - whole;
  const under = [2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 32].find((d) => Math.abs(rest * d - Math.round(rest * d)) < 1e-6);
  const share = rest < 1e-9 ? "" : under ? `${Math.round(rest * under)}/${under}` : rest.toFixed(2).slice(1);
  return `${[whole || "", share].filter(Boolean).join(" ")} ${bars <= 1 ? "bar" : "bars"}`;
}

export function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

// -- the card: what comes, or what is to be done now

function card(status, routine, old, ageMs) {
  const found = cardOf(status, routine);
  if (old) return { ...found, label: status.piece || status.state !== "waiting" ? `Old: ${Math.floor(ageMs / 1000)} s` : NO_WORD };
  if (status.held) return { ...found, label: "Held" };
  if (status.state === "unsure") return { ...found, label: `Unsure: ${Math.round(100 * (status.confidence ?? 0))} %` };
  if (status.state === "silent") return { ...found, label: "By the clock" };
  return found;
}

function cardOf(status, routine) {
  const piece = status.piece;
  if (status.state === "waiting" || (!piece && status.state !== "before" && status.state !== "over")) {
    return { label: "Waiting", name: routine?.title ?? status.routine?.title ?? "liveaid", prompt: notices(status)[0] ?? "no deck heard yet" };
  }
  if (status.state === "before") return beforeStart(status, routine);
  if (status.state === "over") return atTheEnd(status);
  if (status.state === "unsure" && status.places?.length > 1) {
    return { label: "", name: bothNames(status.places.map((place) => place.name)), prompt: "" };
  }
  if (status.bar === 1 && piece.index > 0 && status.bars_left > 0) return { label: "Now", name: piece.name, prompt: promptOf(piece, routine) };
  const next = status.next;
  if (!next) return { label: "Last", name: piece.name, prompt: promptOf(piece, routine) };
  const soon = status.bars_left <= SOON_BARS;
  return {
    label: soon ? (status.bars_left === 1 ? "In 1 bar" : `In ${status.bars_left} bars`) : "Next",
    name: next.name, prompt: promptOf(next, routine), soon,
  };
}

function bothNames(names) {
  // Of two names as much as goes, of each alike: whole, their first words, the first letters of those.
  const first = names.map((name) => name.trim().split(/\s+/)[0]);
  const cut = (most) => first.map((word) => { const letters = [...word]; return letters.length > most ? `${letters.slice(0, most - 1).join("")}…` : word; });
  return [names, first, cut(6), cut(4)].map((ways) => ways.join(" or "));
}

function beforeStart(status, routine) {
  const first = status.piece ?? routine?.pieces[0] ?? { name: status.routine?.title ?? "", index: 0 };
  const sides = (status.first ?? []).join(" and ");
  const label = sides ? [`Let go first: ${sides}`, `First: ${sides}`] : "Before";
  return { label, name: first.name, prompt: promptOf(first, routine) };
}

function atTheEnd(status) {
  const played = status.elapsed_s == null ? "" : clock(status.elapsed_s);
  const kept = status.limit_kept ?? (status.limit_s == null || status.elapsed_s == null ? null : status.elapsed_s <= status.limit_s);
  const over = kept === false && status.limit_s != null ? ` by ${clock(status.elapsed_s - status.limit_s)}` : "";
  return { label: "Over", name: played || "The end", prompt: kept === null ? "" : kept ? "limit kept" : `over the limit${over}` };
}

function promptOf(piece, routine) { return piece.prompt ?? routine?.pieces[piece.index]?.prompt ?? ""; }

function nowLine(status) {
  if (status.notes?.length) return String(status.notes[0]); // something is not well: before all else
  const map = mapLine(status.map);
  if (map && status.state !== "following") return map;
  const coming = status.coming?.[0];
  const soon = coming?.in_beats <= SOON_BARS * (status.routine?.metre ?? 4);
  if (soon && status.state === "following") return coming.says;
  return status.piece && status.state !== "over" ? `now ${status.piece.name}` : "";
}

export function mapLine(map) {
  // Where the map as it is written is not the one that is followed; null where it is.
  if (!map || map.followed !== false || !map.says?.length) return null;
  const short = map.state === "broken" ? "map broken" : map.state === "edited since" ? "map edited" : "old map";
  return [map.says[0], `${short}, the old one is used`, short];
}

function clockLine({ elapsed_s: elapsed, limit_s: limit, state }) {
  if (elapsed == null || state === "over") return "";
  return limit != null && elapsed > limit ? `+${clock(elapsed - limit)}` : clock(elapsed);
}

// -- a deck: one order, as a mark and in words

function deck(status, side) {
  const told = status.decks?.[side];
  const always = status.routine?.sends !== "on_change";
  const turnDegrees = (360 * (status.routine?.rpm ?? 100 / 3)) / 60;
  if (!told || told.position == null || (always && told.age_ms > QUIET_MS)) return { mark: "unheard", words: "not heard", brief: ["not heard", "silent"], amount: "" };
  const at = (((told.position * turnDegrees) % 360) + 360) % 360;
  const cueAt = told.sticker ?? (told.cue == null ? null : (((told.cue * turnDegrees) % 360) + 360) % 360);
  const rested = { mark: "rests", words: "nothing more to do", brief: [""], amount: "" };
  if (status.state === "over") return { ...rested, at, cueAt: null, speed: told.speed ?? 0 };
  return { ...order(told, status.state === "before"), at, cueAt, speed: told.speed ?? 0 };
}

function order(told, before) {
  // `words` in full; `brief` from the longest to the shortest way of saying it.
  // What sounds is left alone, however far its next cue is; before the start nothing sounds.
  if (before && told.ready) return READY;
  if (before && told.wind != null) return wind(told);
  if (told.hand === "works") return { mark: "works", words: "work it by hand", brief: ["by hand", "hand"], amount: "" };
  if (told.hand === "runs") return { mark: "runs", words: "let it run", brief: ["let it run", "runs"], amount: "" };
  if (told.ready) return READY;
  if (told.way === "needle") {
    const to = clock(told.cue ?? 0);
    return { mark: "needle", words: `set the needle to ${to}`, brief: [`needle ${to}`, "needle"], amount: "" };
  }
  if (told.wind != null) return wind(told);
  return { mark: "rests", words: told.hand === "rests" ? "rests" : "no order", brief: [told.hand === "rests" ? "rests" : ""], amount: "" };
}

function wind(told) {
  const turns = Math.abs(told.wind), way = told.wind < 0 ? "back" : "on";
  const amount = turns >= 9.95 ? String(Math.round(turns)) : turns.toFixed(1);
  const late = told.in_time === false;
  const brief = late ? [`${way} ${amount}: too far`, "too far"] : [`${way} ${amount}`, `${way} ${Math.round(turns)}`, amount];
  return { mark: "wind", wind: told.wind, late, words: `wind ${way} ${amount} turns${late ? ", too far to be in time" : ""}`, brief, amount };
}

function notices(status) {
  const map = status.map && status.map.state !== "as rendered" ? status.map.says ?? [] : [];
  return [...map, ...(status.notes ?? []), ...(status.hints ?? []), ...(status.error ? [status.error] : [])].map(String);
}
