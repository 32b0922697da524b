// What is opened over the stage view, to be read from near: everything in words, also what had no
// room; the views; the words to say; screen, look, keys.
import { choices, choose, dress, screenOf } from "/choices.js";
import { WORDS, giveKey, keyOf, keyWords } from "/keys.js";
import { readAway, readScreen } from "/sizes.js";
import { sayWord } from "/stream.js";

const NEAR = [["0.7 m", "at the decks"], ["1.5 m", "a step back"], ["3 m", "across the stage"]];

export function element(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value === true) made.setAttribute(key, "");
    else if (value !== false && value != null) made.setAttribute(key, value);
  }
  made.append(...inside.flat().filter((part) => part != null));
  return made;
}

export class Panel {
  constructor(dialog, { facts, changed, awake }) {
    Object.assign(this, { dialog, facts, changed, awake });
    dialog.addEventListener("close", () => clearInterval(this.timer));
  }

  open() {
    if (this.dialog.open) return;
    this.#build();
    this.dialog.showModal();
    this.timer = setInterval(() => this.#words(), 500);
  }

  close() { if (this.dialog.open) this.dialog.close(); }

  #build() {
    this.list = element("dl");
    this.said = element("p", { role: "status", class: "quiet" });
    this.dialog.replaceChildren(
      element("h2", { id: "panel-title" }, "In words"), this.list,
      element("nav", { "aria-label": "Views" }, ["/", "/rehearse", "/map"].map((to, k) => element("a", { href: to, "aria-current": k === 0 && "page" }, ["Stage", "Rehearsal", "Map"][k]))),
      this.#screen(), this.#look(), this.#acts(), this.#keys(),
      element("div", { class: "acts" }, element("button", { type: "button", onclick: () => this.close() }, "Back to the stage")));
    this.#words();
  }

  #words() {
    const facts = this.facts().filter(([, value]) => value);
    this.list.replaceChildren(...facts.flatMap(([term, value]) => [element("dt", {}, term), element("dd", { dir: "auto" }, value)]));
  }

  #screen() {
    const now = screenOf(this.status?.());
    const size = element("input", { type: "text", id: "screen-size", value: `${Number(now.inches.toFixed(1))} in` });
    const away = element("input", { type: "text", id: "screen-away", value: `${Number(now.awayM.toFixed(2))} m` });
    const wrong = element("p", { role: "alert" });
    const save = () => {
      if (!readScreen(size.value)) wrong.textContent = `${size.value}: no diagonal; 6 in or 15 cm would do.`;
      else if (!readAway(away.value)) wrong.textContent = `${away.value}: no distance; 3 m or 80 cm would do.`;
      else { choose({ screen: size.value, away: away.value }); this.changed(); this.close(); }
    };
    return element("form", { onsubmit: (event) => { event.preventDefault(); save(); } },
      element("h3", {}, "How far away is this screen?"),
      element("p", { class: "quiet" }, "Letters are made large enough to be read from there; what has no room is left out and stands above."),
      element("div", { class: "acts" }, NEAR.map(([metres, where]) => element("button", { type: "button", onclick: () => { away.value = metres; save(); } }, `${metres}, ${where}`))),
      element("label", {}, "Diagonal ", size), element("label", {}, "Distance ", away), element("button", {}, "Keep"), wrong);
  }

  #look() {
    const { theme = "dark" } = choices();
    const picked = element("select", { id: "theme", onchange: () => { choose({ theme: picked.value }); dress(); } },
      [["dark", "dark"], ["bright", "bright, for daylight"], ["device", "as the device has it"]].map(([value, words]) => element("option", { value, selected: value === theme }, words)));
    return element("div", {}, element("h3", {}, "Look"), element("label", {}, "Ground ", picked),
      document.fullscreenEnabled ? element("button", { type: "button", onclick: () => { this.close(); document.documentElement.requestFullscreen(); } }, "Full screen") : null,
      element("p", { class: "quiet" }, this.awake().says));
  }

  #acts() {
    return element("div", {}, element("h3", {}, "Say a word"), element("div", { class: "acts" },
      WORDS.map((word) => element("button", { type: "button", onclick: async () => { this.said.textContent = await sayWord(word); } }, word))), this.said);
  }

  #keys() {
    const taken = element("p", { class: "quiet", role: "status" });
    const tell = () => { taken.textContent = Object.entries(keyWords()).filter(([, word]) => word).map(([key, word]) => `${key}: ${word}`).join(" · ") || "no key says a word"; };
    const word = element("select", { id: "key-word" }, element("option", { value: "" }, "nothing"), WORDS.map((one) => element("option", { value: one }, one)));
    const press = element("button", { type: "button", onkeydown: (event) => {
      if (event.key === "Tab" || event.key === "Escape" || (event.key === "Enter" && !press.waits)) return;
      event.preventDefault();
      if (!press.waits) return;
      press.waits = false;
      press.textContent = "Give it a key";
      giveKey(keyOf(event), word.value);
      tell();
    }, onclick: () => { press.waits = true; press.textContent = "Press the key or foot switch"; } }, "Give it a key");
    tell();
    return element("div", {}, element("h3", {}, "Keys and foot switch"), taken, element("label", {}, "Word ", word), press);
  }
}
