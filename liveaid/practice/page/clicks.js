// Clicks on the browser's audio clock. One click is a short tone with a soft edge; it is set ahead
// of its time, so that what the page is doing meanwhile does not move it.
const AHEAD_S = 0.25;     // clicks due within this are set now
const EVERY_MS = 25;      // how often we look
const LONG_S = 0.045;
const FOLLOWS = 0.02;     // of what the two clocks have drifted apart by, each time a count is told again

export function setClick(context, when, { accent = false, volume = 0.015, into = context.destination } = {}) {
  // One click whose sound begins at the audio clock's second `when`.
  const tone = context.createOscillator();
  const level = context.createGain();
  tone.frequency.value = accent ? 1568 : 1046.5;
  level.gain.setValueAtTime(0, when);
  level.gain.linearRampToValueAtTime(volume, when + 0.001);
  level.gain.exponentialRampToValueAtTime(volume * 0.001, when + LONG_S);
  tone.connect(level).connect(into);
  tone.start(when);
  tone.stop(when + LONG_S + 0.005);
}

export function audioTime(context, pageMs) {
  // The audio clock's second that is heard at a moment of the page's clock (performance.now()).
  const stamp = context.getOutputTimestamp?.();
  if (stamp && stamp.performanceTime > 0) {
    return stamp.contextTime + (pageMs - stamp.performanceTime) / 1000;
  }
  const late = context.outputLatency || context.baseLatency || 0;
  return context.currentTime + (pageMs - performance.now()) / 1000 - late;
}

export class Clicks {
  // Plays one count-in at a time; `told` hears of every click as it is set.
  constructor(context, told = () => {}) {
    this.context = context;
    this.told = told;
    this.volume = 0.015;
    this.count = null;
    this.timer = setInterval(() => this.look(), EVERY_MS);
  }

  play(count, toPageMs) {
    // `count`: start_s, beat_s, beats, metre in the daemon's seconds; `toPageMs` makes page time of
    // them. Within a count the audio clock follows the page's slowly, so that clicks stay even.
    const first = audioTime(this.context, toPageMs(count.start_s));
    if (this.count?.start_s === count.start_s) {
      this.count.first += FOLLOWS * (first - this.count.first);
      return;
    }
    this.count = { ...count, first, set: 0 };
    this.look();
  }

  drop() { this.count = null; }

  look() {
    const count = this.count;
    if (!count || this.context.state !== "running") return;
    while (count.set < count.beats) {
      const when = count.first + count.set * count.beat_s;
      if (when > this.context.currentTime + AHEAD_S) return;
      const beat = count.set++;
      if (when < this.context.currentTime) continue; // too late to be of use: better none than a wrong one
      setClick(this.context, when, { accent: beat % count.metre === 0, volume: this.volume });
      this.told({ beat, when, due_s: count.start_s + beat * count.beat_s, setAt: this.context.currentTime });
    }
  }
}
