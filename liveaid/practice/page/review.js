// The review's page: what is next, how every set piece stands, the takes, and their pictures.
import { dress } from "/choices.js";

dress();
const find = (id) => document.getElementById(id);

function cell(content, as = "td", more = {}) {
  const made = document.createElement(as);
  if (content instanceof Node) made.append(content); else made.textContent = content;
  Object.assign(made, more);
  return made;
}

function early(ms) {
  if (ms === null) return "–";
  return Math.abs(ms) < 0.5 ? "on time" : `${Math.abs(ms).toFixed(0)} ms ${ms > 0 ? "late" : "early"}`;
}
const spread = (ms) => (ms === null ? "–" : `${ms.toFixed(0)} ms`);
const percent = (part) => `${(100 * part).toFixed(0)} %`;

function range(low, high, at, level) {
  const made = document.createElement("span");
  made.className = "range";
  const part = document.createElement("i"), here = document.createElement("b"), wanted = document.createElement("u");
  part.className = "sure";
  part.style.left = percent(low).replace(" ", "");
  part.style.right = percent(1 - high).replace(" ", "");
  wanted.style.left = percent(level).replace(" ", "");
  made.append(part, wanted);
  if (at !== null) { here.style.left = percent(at).replace(" ", ""); made.append(here); }
  made.title = `${percent(low)} to ${percent(high)}`;
  return made;
}

function ago(days) {
  if (days === null) return "never";
  if (days < 1 / 24) return "just now";
  return days < 1 ? "today" : days < 2 ? "yesterday" : `${days.toFixed(0)} days ago`;
}

function show(found) {
  find("title").textContent = `Review: ${found.title}`;
  find("next").replaceChildren(...found.next.order.map((one) => {
    const item = document.createElement("li");
    item.append(cell(one.name, "strong"), cell(one.why, "span", { className: "quiet" }));
    return item;
  }));
  find("rule").textContent = found.next.rule;
  const stage = found.stage_ready, level = stage.level;
  find("ready").textContent = stage.ready ? "Stage ready" : "Not yet";
  find("ready").className = stage.ready ? "yes" : "";
  const runs = stage.run_throughs;
  find("runs").textContent = `Run-throughs: ${runs.clean} clean of ${runs.of}, at least ${percent(runs.low)} sure`;
  find("level").textContent = `Ready when every set piece and whole run-throughs are clean at least ${percent(level)} of the time, 95 % sure (the dotted line).${stage.missing.length ? ` Still in the way: ${stage.missing.length}.` : ""}`;
  find("pieces").tBodies[0].replaceChildren(...found.pieces.map((one) => {
    const line = document.createElement("tr");
    line.append(
      cell(one.name, "th", { scope: "row" }), cell(`${one.clean} of ${one.of}${one.ready ? " ✓" : ""}`),
      cell(range(one.low, one.high, one.of ? one.clean / one.of : null, level), "td", { className: "bar" }),
      cell(early(one.bias_ms)), cell(spread(one.spread_ms)), cell(ago(one.days_since)));
    return line;
  }));
  find("takes").tBodies[0].replaceChildren(...found.takes.map((one) => {
    const line = document.createElement("tr");
    line.append(
      cell(one.number), cell(one.at.slice(5, 16).replace("T", " ")), cell(one.piece ?? "run-through", "th", { scope: "row" }),
      cell(percent(one.tempo_part)),
      cell(one.ended === "abandoned" && !one.clean ? "given up" : one.verdict, "td", { className: one.clean ? "yes" : "no" }),
      cell(early(one.bias_ms)), cell(spread(one.spread_ms)), cell(`${one.missed}, ${one.added}`));
    return line;
  }));
  pictures(found);
  find("hands").textContent = `Hands on today: ${Math.round(found.care.hands_on_s / 60)} min`;
  find("ears").textContent = found.care.noise ?? "";
  find("hands-caution").textContent = found.care.hands;
  find("nothing").hidden = true;
  find("found").hidden = false;
}

function pictures(found) {
  const places = { losses: "losses-here", take: "takes-here", piece: "pieces-here" };
  for (const id of Object.values(places)) find(id).querySelectorAll("img").forEach((old) => old.remove());
  for (const name of found.pictures) {
    const image = document.createElement("img");
    image.src = `/review/${name}?at=${Date.now()}`;
    image.alt = describe(name, found);
    image.loading = "lazy";
    find(places[name.split(/[-.]/)[0]]).append(image);
  }
}

function describe(name, found) {
  const number = Number(name.match(/\d+/)?.[0]);
  if (name.startsWith("take")) {
    const take = found.takes.find((one) => one.number === number);
    return `Take ${number}, ${take?.piece ?? "run-through"}: ${early(take?.bias_ms ?? null)}, spread ${spread(take?.spread_ms ?? null)}, both records over time against the plan`;
  }
  if (name.startsWith("piece")) return `History of ${found.pieces[number - 1]?.name}: early or late, spread and misses, take by take`;
  return "Mean error and misses, bar by bar of the routine";
}

async function look() {
  let answer = { ok: false }, found = {};
  try {
    answer = await fetch("/review.json", { cache: "no-store" });
    found = await answer.json();
  } catch { /* no liveaid there, or it has no takes */ }
  if (answer.ok && found.takes.length) return show(found);
  find("nothing").textContent = !answer.status ? "Nothing heard from liveaid." : !answer.ok ? "No takes kept yet. Rehearse, and they come by themselves." : "No takes scored yet.";
  find("nothing").hidden = false;
  find("found").hidden = true;
}

find("again").addEventListener("click", look);
look();
