// Words by key: a foot switch is a keyboard to the system. Keys that write no letter are taken from
// the start; any other may be given to a word (WCAG 2.2, SC 2.1.4: can be changed and turned off).
import { choices, choose } from "/choices.js";
import { sayWord } from "/stream.js";

// The performer's words; stage/words.py has the same, and says what each does.
export const WORDS = ["step on", "step back", "here", "hold", "count in", "take start", "take stop", "again", "next", "keep", "drop", "mark", "slower", "faster", "note"];
const FIRST_KEYS = { PageDown: "step on", PageUp: "step back", Home: "here", End: "hold" };
const TYPED_IN = ["INPUT", "SELECT", "TEXTAREA"];

export function keyWords() { return { ...FIRST_KEYS, ...choices().keys }; }

export function giveKey(key, word) {
  // A key says one word, a word may have many keys; an empty word frees the key.
  choose({ keys: { ...choices().keys, [key]: word } });
}

export function keyOf(event) { return event.key === " " ? "Space" : event.key; }

export function listen(told) {
  // Says a key's word; `told` hears the sentence on how that went.
  document.addEventListener("keydown", async (event) => {
    if (event.repeat || event.ctrlKey || event.altKey || event.metaKey || TYPED_IN.includes(event.target.tagName)) return;
    if (document.querySelector("dialog[open]")) return;
    const word = keyWords()[keyOf(event)];
    if (!word) return;
    event.preventDefault();
    told(await sayWord(word));
  });
}
