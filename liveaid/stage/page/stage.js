// The page's own eyes: shows each status as it comes, and says loudly when none does.
const OLD_MS = 2000;      // nothing for this long: what is shown is old
const HOLD_MS = 300;      // a big mark keeps its look at least this long: no flicker (WCAG 2.3.1)
const STATE_WORDS = {
  waiting: "Waiting for the decks",
  following: "Following",
  unsure: "Unsure",
  silent: "Decks silent, counting by the clock",
  connecting: "Connecting",
};
const HAND_WORDS = { runs: "Let it run", works: "Work it by hand", rests: "Rest" };

const find = (id) => document.getElementById(id);
const still = window.matchMedia("(prefers-reduced-motion: reduce)");

let socket = null;
let heardAt = -Infinity;
let openedAt = performance.now();
let retryMs = 250;
let retryTimer = null;
let latest = null;

// -- the stream

function connect() {
  clearTimeout(retryTimer);
  if (socket) { socket.onclose = socket.onmessage = null; socket.close(); }
  const scheme = location.protocol === "https:" ? "wss:" : "ws:";
  socket = new WebSocket(`${scheme}//${location.host}/live`);
  openedAt = performance.now();
  socket.onmessage = (event) => {
    retryMs = 250;
    heardAt = performance.now();
    latest = JSON.parse(event.data);
    document.dispatchEvent(new CustomEvent("status", { detail: latest }));
    show(latest);
    markAge();
  };
  socket.onclose = () => {
    retryTimer = setTimeout(connect, retryMs);
    retryMs = Math.min(retryMs * 2, 2000);
  };
}

function lookAgain() {
  const silent = performance.now() - heardAt > OLD_MS;
  if (silent || !socket || socket.readyState !== WebSocket.OPEN) connect();
  stayAwake();
}

document.addEventListener("visibilitychange", () => { if (!document.hidden) lookAgain(); });
window.addEventListener("online", lookAgain);
window.addEventListener("pageshow", (event) => { if (event.persisted) lookAgain(); });

function markAge() {
  const now = performance.now();
  const ageMs = now - Math.max(heardAt, latest ? -Infinity : openedAt);
  const old = ageMs > OLD_MS;
  document.body.classList.toggle("old", old);
  find("stale").hidden = !old;
  if (!old) return;
  text("stale-what", `Nothing heard from liveaid for ${Math.floor(ageMs / 1000)} s`);
  text("stale-how", latest ? "What stands below is old." : "Is it running?");
  text("state-word", "No connection");
  // A stream that is open but mute (a daemon that hangs) is given up and tried anew.
  if (now - openedAt > 5000 && now - heardAt > 5000 && !document.hidden) connect();
}
setInterval(markAge, 250);

// -- showing

function text(id, value) {
  const node = typeof id === "string" ? find(id) : id;
  if (node.textContent !== value) node.textContent = value;
}

const held = new Map();
function hold(name, value, apply) {
  // Lets a big mark change at once after a rest, and otherwise only when its hold is over.
  const now = performance.now();
  const last = held.get(name);
  if (last && last.value === value) { last.wanted = value; return; }
  if (!last || now - last.at >= HOLD_MS) {
    held.set(name, { value, at: now, wanted: value, apply });
    apply(value);
  } else {
    last.wanted = value;
    last.apply = apply;
    if (!last.timer) last.timer = setTimeout(() => {
      last.timer = null;
      last.at = -Infinity;
      hold(name, last.wanted, last.apply);
    }, HOLD_MS - (now - last.at));
  }
}

const clock = (seconds) => {
  const whole = Math.max(0, Math.floor(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
};

function show(status) {
  hold("state", status.state, (state) => { document.body.dataset.state = state; });
  const sure = Math.round((status.confidence ?? 0) * 100);
  text("state-word", status.state === "unsure" ? `Unsure: ${sure} % likely` : STATE_WORDS[status.state]);
  const title = status.routine?.title ?? "liveaid";
  text("title", title);
  showTime(status);
  showPiece(status);
  showNext(status);
  for (const side of ["left", "right"]) {
    showDeck(side, status.decks?.[side], (status.next_cue ?? []).includes(side),
      status.routine?.sends !== "on_change");
  }
}

function showTime({ elapsed_s: elapsed, limit_s: limit }) {
  text("elapsed", elapsed == null ? "-:--" : clock(elapsed));
  const over = limit != null && elapsed != null && elapsed > limit;
  text("limit", limit == null ? "" : over ? ` over by ${clock(elapsed - limit)}` : ` of ${clock(limit)}`);
  find("time").classList.toggle("over", over);
}

function showPiece(status) {
  const piece = status.piece;
  const pieces = status.routine?.pieces;
  const place = piece ? `${piece.index + 1} of ${pieces}` : "";
  text("piece-kind", piece ? [piece.part, piece.technique, place].filter(Boolean).join(" · ") : "\u00a0");
  text("piece", piece ? piece.name : status.routine?.title ?? "\u00a0");
  const barsLeft = piece ? status.bars_left : null;
  hold("bars", barsLeft, (left) => {
    text("bars-left", left == null ? "–" : String(left));
    find("bars-left").classList.toggle("wide", left >= 10);
    text("bars-word", left === 1 ? "last bar" : "bars left");
  });
  showBars(piece ? piece.bars : 0, barsLeft ?? 0);
  showBeat(status.routine?.metre ?? 0, piece ? status.beat : null, status.bar);
  text("tempo-bpm", status.tempo == null ? "–" : status.tempo.toFixed(1));
}

function showBars(all, left) {
  const row = find("bar-row");
  const shown = Math.min(all, 32);
  if (row.childElementCount !== shown) {
    row.replaceChildren(...Array.from({ length: shown }, () => document.createElement("li")));
  }
  const lit = Math.min(left, shown);
  [...row.children].forEach((bar, index) => {
    bar.className = index < lit - 1 ? "left" : index === lit - 1 ? "now" : "";
  });
}

function showBeat(metre, beat, bar) {
  const row = find("beats");
  if (row.childElementCount !== metre) {
    row.replaceChildren(...Array.from({ length: metre }, () => document.createElement("li")));
  }
  if (!still.matches) {
    [...row.children].forEach((dot, index) => dot.classList.toggle("here", index + 1 === beat));
  }
  const words = still.matches ? `bar ${bar}` : `bar ${bar}, beat ${beat}`;
  text("beat-word", beat == null ? "\u00a0" : words);
}

function showNext(status) {
  const next = status.next;
  text("next-piece", next ? next.name : status.piece ? "The end" : "–");
  const tempo = next ? `${next.tempo.toFixed(1).replace(/\.0$/, "")} BPM` : "";
  text("next-kind", next ? [next.part, next.technique, tempo].filter(Boolean).join(" · ") : "\u00a0");
  text("next-prompt", next?.prompt ?? "");
}

function showDeck(side, deck, cueNext, always) {
  const box = find(side);
  const part = (name) => box.querySelector(`.${name}`);
  const ready = Boolean(deck?.ready);
  hold(`${side} frame`, `${cueNext} ${ready}`, () => {
    box.classList.toggle("ready", ready);
    box.classList.toggle("cue-next", cueNext && !ready);
  });
  part("cue-mark").hidden = !cueNext;
  const [order, amount] = orderFor(deck, ready);
  text(part("order"), order);
  if (part("amount").dataset.value !== amount) {
    part("amount").dataset.value = amount;
    part("amount").innerHTML = amount ? `${amount} <span class="unit">turns</span>` : "";
  }
  text(part("detail"), detailFor(deck, always));
}

function orderFor(deck, ready) {
  if (!deck || deck.position == null) return ["Not heard yet", ""];
  if (ready) return ["Ready at its cue", ""];
  if (deck.wind != null) {
    const word = deck.wind < 0 ? "↺ Wind back" : "↻ Wind forward";
    return [word, Math.abs(deck.wind).toFixed(1)];
  }
  return [HAND_WORDS[deck.hand] ?? "–", ""];
}

function detailFor(deck, always) {
  if (!deck || deck.position == null) return "";
  const parts = [`at ${clock(deck.position)}`];
  if (deck.cue != null) parts.push(`cue ${clock(deck.cue)}`);
  // A sender that is quiet while a record stands has not lost it.
  if (always && deck.age_ms > OLD_MS) parts.push(`not heard for ${Math.floor(deck.age_ms / 1000)} s`);
  return parts.join(" · ");
}

// -- the screen stays on, where the browser allows it

let lock = null;
async function stayAwake() {
  if (!("wakeLock" in navigator)) {
    text("awake", window.isSecureContext
      ? "This browser cannot keep the screen on: set it to stay on yourself."
      : "Screen may go dark: set it to stay on yourself (only a secure address can ask for that).");
    return;
  }
  try {
    lock = await navigator.wakeLock.request("screen");
    text("awake", "Screen kept on.");
    lock.addEventListener("release", () => text("awake", "Screen may go dark."));
  } catch {
    text("awake", "Screen may go dark: the browser refused to keep it on.");
  }
}

connect();
stayAwake();
