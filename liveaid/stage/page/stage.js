// The stage view: the stream, the clock and the frames around show.js.
import { Awake } from "/awake.js";
import { dress, screenOf } from "/choices.js";
import { listen } from "/keys.js";
import { layout } from "/layout.js";
import { Panel } from "/panel.js";
import { mapLine, picture } from "/picture.js";
import { Show } from "/show.js";
import { minutePx } from "/sizes.js";
import { Stream } from "/stream.js";

const SAID_MS = 4000;            // how long a word's answer stands
const root = document.getElementById("stage");
const more = document.getElementById("more");
const still = matchMedia("(prefers-reduced-motion: reduce)");
const show = new Show(root, { still: still.matches });
let edition = null, laid = "", said = { text: "", at: -Infinity };

// -- the screen

function lay() {
  const { width, height } = root.getBoundingClientRect();
  const { inches, awayM } = screenOf(show.status);
  const minute = minutePx({ inches, awayM, screenWidth: screen.width, screenHeight: screen.height });
  const text = parseFloat(getComputedStyle(document.documentElement).fontSize) / 16;
  const key = [width, height, minute, text].join();
  if (key === laid) return;
  laid = key;
  show.lay(layout({ width, height, minute, text }));
}

still.addEventListener("change", () => { show.still = still.matches; });
new ResizeObserver(lay).observe(root);
dress();

// -- the stream

async function learn(status) {
  if (!status.routine?.edition || status.routine.edition === edition) return;
  edition = status.routine.edition;
  try {
    show.know(await (await fetch("/routine.json")).json());
  } catch { edition = null; /* asked for again with the next status */ }
}

const stream = new Stream((status, now) => {
  show.hear(status, now);
  heardWord(status.word, now);
  learn(status);
  lay();
  if (status.state !== "waiting" && status.state !== "before" && panel.dialog.asking) panel.close();
});

function heardWord(word, now) {
  // A word by pad or OSC is told as heard, as one by key is.
  if (!word || word.by === "page" || 1000 * word.age_s > SAID_MS) return;
  said = { text: `“${word.word}” ${word.taken ? "was heard" : "is not taken here"}.`, at: now - 1000 * word.age_s };
}

function frame(now) {
  const age = { old: stream.isOld(now), ageMs: stream.ageMs(now) };
  show.draw(now, { ...age, more: now - said.at < SAID_MS ? said.text : "" });
  more.classList.toggle("called", called());
  requestAnimationFrame(frame);
}

// -- from near

const awake = new Awake();
const panel = new Panel(document.getElementById("panel"), {
  facts: () => facts(picture(show.status, { routine: show.routine, old: stream.isOld(), ageMs: stream.ageMs() })),
  changed: lay,
  awake: () => awake,
});
panel.status = () => show.status;

function facts(found) {
  const { status } = show;
  return [
    ["State", found.state], ["Told", [found.card.label].flat()[0]], ["Set piece", status?.piece?.name ?? ""], ["Card", [found.card.name].flat()[0]],
    ["Prompt", found.card.prompt], ["Bars left", status?.bars_left == null ? "" : String(status.bars_left)], ["Left", found.decks.left.words], ["Right", found.decks.right.words],
    ["Next deck", found.next.join(" and ")], ["Coming", (status?.coming ?? []).map((one) => one.says).join(", then ")], ["Tempo", found.tempo], ["Time", found.clock],
    ["Note", found.notices.join(" ")], ["Screen", awake.says],
  ];
}

function called() { return mapLine(show.status?.map) !== null || (show.status?.notes?.length ?? 0) + (show.status?.hints?.length ?? 0) > 0 || !awake.held; }

more.addEventListener("click", () => panel.open());
listen((text) => { said = { text, at: performance.now() }; });

document.fonts.ready.then(() => {
  lay();
  requestAnimationFrame(frame);
  if (!screenOf(null).asked) setTimeout(askOnce, 1500);
});

function askOnce() {
  // Once, and only while nothing is going on.
  if (screenOf(show.status).asked || (show.status && !["waiting", "before"].includes(show.status.state))) return;
  panel.open();
  panel.dialog.asking = true;
}
