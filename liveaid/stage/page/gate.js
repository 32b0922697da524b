// How fast the picture may change. Pure: told the time.
// WCAG 2.2, SC 2.3.1: never more than three flashes in any second; a flash is there and back again,
// two changes. Every spot of the picture belongs to one box and to the whole picture's look, so the
// sum of both gates bounds it: (LOOKS + BOX) / 2 = 2.5 flashes in any second. Over a deck a sticker
// passes besides (dial.js), at most once a second: (LOOKS + DECK) / 2 + 1 = 3. Where its acts are drawn
// (acts.js) each spot goes grey once a page, and a page turns once a second at most; the same sum.
export const LOOKS = 2;          // changes of the whole picture's look in any second
export const BOX = 3;            // changes of one box's content in any second
export const DECK = 2;           // of a deck's, where a sticker moves too
export const PAGE = 1;           // turns of a page of acts, which are changes of its deck too
const SECOND_MS = 1000;

export class Gate {
  // Lets a wish through at once while fewer than `most` passed within the last second.
  constructor(most) {
    this.most = most;
    this.passed = [];
  }

  open(now) {
    this.passed = this.passed.filter((at) => now - at < SECOND_MS);
    return this.passed.length < this.most;
  }

  pass(now) { this.passed.push(now); }
}

export class Shown {
  // A value that is shown: what is wished becomes it as soon as its gate lets it.
  constructor(most, same = Object.is) {
    this.gate = new Gate(most);
    this.same = same;
    this.value = undefined;
  }

  wish(value, now) {
    // Whether it changed.
    if (this.value !== undefined && this.same(value, this.value)) return false;
    if (!this.gate.open(now)) return false;
    this.gate.pass(now);
    this.value = value;
    return true;
  }
}
