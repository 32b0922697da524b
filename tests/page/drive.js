// Drives the stage view by a clock of its own: statuses in, frames out, as fast as they can be drawn.
import { layout } from "/layout.js";
import { Show } from "/show.js";
import { minutePx } from "/sizes.js";

export let show = null;
let heardAt = 0;

export async function begin({ routine, inches, awayM, still = false, theme = "dark" }) {
  await document.fonts.load('700 20px "Letters"');
  await document.fonts.ready;
  document.documentElement.dataset.theme = theme;
  show = new Show(document.getElementById("stage"), { still });
  if (routine) show.know(routine);
  lay({ inches, awayM });
}

export function lay({ inches, awayM }) {
  const { width, height } = document.getElementById("stage").getBoundingClientRect();
  const text = parseFloat(getComputedStyle(document.documentElement).fontSize) / 16;
  const minute = minutePx({ inches, awayM, screenWidth: screen.width, screenHeight: screen.height });
  show.lay(layout({ width, height, minute, text }));
}

export function hear(status, at) { heardAt = at; show.hear(status, at); }

export function draw(at) { show.draw(at, { old: at - heardAt > 2000, ageMs: at - heardAt }); }

let clock = 0;

export function stand(status, ms = 3000) {
  // One status, kept coming until every gate has let it through; then the time it is.
  for (const end = clock + ms; clock <= end; clock += 100) { hear(status, clock); draw(clock); }
  return clock;
}

const seen = (node) => { const style = getComputedStyle(node); return !node.closest("[hidden]") && style.visibility !== "hidden" && style.display !== "none" && !node.classList.contains("unseen"); };

export function lines() {
  // Every line of text that is shown: words, box, height of a capital in px, ink inside its box.
  const context = document.createElement("canvas").getContext("2d");
  const walker = document.createTreeWalker(document.getElementById("stage"), NodeFilter.SHOW_TEXT);
  const found = [];
  while (walker.nextNode()) {
    const text = walker.currentNode, holder = text.parentElement;
    if (!text.textContent.trim() || !seen(holder)) continue;
    const style = getComputedStyle(holder), range = document.createRange();
    range.selectNodeContents(text);
    const at = range.getBoundingClientRect(), box = (holder.closest(".box") ?? holder).getBoundingClientRect();
    context.font = `${style.fontWeight} 1000px ${style.fontFamily}`;
    found.push({
      id: (holder.closest("[id]") ?? holder).id, text: text.textContent, capital: (context.measureText("H").actualBoundingBoxAscent * parseFloat(style.fontSize)) / 1000,
      x: at.x, y: at.y, w: at.width, h: at.height, box: { x: box.x, y: box.y, w: box.width, h: box.height },
    });
  }
  return found;
}

export function boxes() {
  return Object.fromEntries([...document.querySelectorAll("#stage .box")].filter(seen).map((box) => { const at = box.getBoundingClientRect(); return [box.id, [at.x, at.y, at.width, at.height]]; }));
}

export function shown() {
  return {
    ink: document.body.dataset.ink, state: document.body.dataset.state,
    bars: document.getElementById("bars").textContent, beat: [...document.querySelectorAll("#beats li")].findIndex((one) => one.classList.contains("here")) + 1,
    name: document.getElementById("name").textContent, next: [...document.querySelectorAll(".deck.next")].map((one) => one.id),
    left: document.querySelector("#left svg").dataset.mark, right: document.querySelector("#right svg").dataset.mark,
    drawn: show.count.drawn,
  };
}

export function perform(recorded, { every = 40, until = Infinity } = {}) {
  // A whole recording: how far each box strays, and what is shown at each frame.
  const first = boxes(), strays = {}, told = [];
  let k = 0, last = null;
  const end = Math.min(recorded.at(-1).at_ms, until);
  for (let now = recorded[0].at_ms; now <= end; now += every) {
    while (k < recorded.length && recorded[k].at_ms <= now) {
      hear(recorded[k].status, recorded[k].at_ms);
      last = recorded[k++];
    }
    draw(now);
    told.push({ now, piece: last.status.piece?.index ?? null, ...shown() });
    if (told.length % 5) continue;
    for (const [name, box] of Object.entries(boxes())) {
      strays[name] = Math.max(strays[name] ?? 0, ...box.map((value, i) => Math.abs(value - (first[name] ?? box)[i])));
    }
  }
  return { strays, told };
}
