// Where the count is at this moment, from statuses that are some ms old. Pure: told the time.
// Between two statuses beats go on at the tempo told; what is drawn steers after them, and never
// turns back within a set piece unless the follower really moved.
export const JUMP_BEATS = 2;     // farther off than this it is another place, not a late message
const BACK_BEATS = 0.5;          // a step back smaller than this is jitter; between the two it is
const BACK_MS = 300;             // believed when it has lasted this long
const STEER = 2.5;               // of an error, so much a second is steered off
const FASTEST = 1.8;             // never faster than this many times the tempo
const EDGE = 1e-6;
const NOWHERE = { left: null, bars: null, bar: null, beat: null, length: 0, piece: null };

export class Count {
  constructor() {
    this.status = null;
    this.least = null;           // beats left, as told and never backwards
    this.drawn = null;           // beats left, as drawn
    this.backSince = null;
    this.jumps = 0;              // how often the drawn place was not reached by counting
  }

  hear(status, now) {
    // A status as it came; its age is counted by our own clock, whatever the machine's says.
    const before = this.status;
    this.status = status;
    this.heardAt = now;
    const key = placeOf(status);
    if (key === null || before === null || key !== placeOf(before)) {
      this.least = this.drawn = status.beats_left ?? null;
      this.backSince = null;
      this.jumps += 1;
    }
    this.drawnAt ??= now;
  }

  told(now) {
    // Beats left by the last status, carried on to now; null where there is no count.
    const status = this.status;
    if (!status || status.beats_left == null) return null;
    const going = moves(status) ? ((now - this.heardAt) / 60000) * (status.tempo ?? 0) : 0;
    return Math.max(0, status.beats_left - going);
  }

  at(now) {
    // {left, bars, bar, beat, length, piece, place}: beats left as drawn, the numbers as told.
    const told = this.told(now);
    const status = this.status;
    if (told === null || !status.piece) return { ...NOWHERE, place: `${this.jumps}` };
    this.#keep(told, now);
    this.#steer(this.backSince === null ? told : this.least, now);
    const metre = status.routine?.metre ?? 4;
    const length = Math.round(status.piece.bars * metre);
    const gone = Math.min(Math.max(length - this.least, 0), length - EDGE);
    // Bars are counted from the first: the last one may be cut short.
    const bar = Math.floor(gone / metre + EDGE) + 1;
    const bars = this.least <= EDGE && status.bars_left === 0 ? 0 : Math.max(1, Math.ceil(length / metre - EDGE) - bar + 1);
    return {
      left: this.drawn, bars, length, piece: status.piece, place: `${this.jumps}`,
      bar,
      beat: (Math.floor(gone + EDGE) % metre) + 1,
    };
  }

  #keep(told, now) {
    // Jitter about a beat does not turn the numbers back.
    const back = this.least === null ? 0 : told - this.least;
    if (back <= 0) { this.least = told; this.backSince = null; return; }
    if (back < BACK_BEATS) { this.backSince = null; return; }
    this.backSince ??= now;
    if (back > JUMP_BEATS || now - this.backSince >= BACK_MS) { this.least = told; this.backSince = null; }
  }

  #steer(told, now) {
    const passed = Math.max(0, now - this.drawnAt) / 1000;
    this.drawnAt = now;
    if (this.drawn === null || Math.abs(told - this.drawn) > JUMP_BEATS) {
      this.drawn = this.least;
      this.jumps += 1;
      return;
    }
    const rate = moves(this.status) ? (this.status.tempo ?? 0) / 60 : 0;
    const wanted = rate + (this.drawn - told) * STEER;
    this.drawn = Math.max(0, this.drawn - Math.min(Math.max(wanted, 0), Math.max(rate, 1) * FASTEST) * passed);
  }
}

function placeOf(status) { return status?.piece ? `${status.routine?.edition}:${status.piece.index}` : null; }

function moves(status) {
  return (status.state === "following" || status.state === "unsure" || status.state === "silent") && !status.held;
}
