// The stream from liveaid: statuses as they come, and how old the last one is by our own clock.
export const OLD_MS = 2000;      // nothing for this long: what is shown is old
const GIVEN_UP_MS = 5000;        // open but mute for this long: try anew
const FIRST_RETRY_MS = 250;
const LAST_RETRY_MS = 2000;

// Every view that hears the stream opens again without the network (worker.js).
if ("serviceWorker" in navigator) navigator.serviceWorker.register("/worker.js").catch(() => {});

export class Stream {
  // told(status, nowMs) hears every status. `ageMs` never looks at the time of day.
  constructor(told) {
    this.told = told;
    this.socket = null;
    this.heardAt = null;
    this.openedAt = performance.now();
    this.retryMs = FIRST_RETRY_MS;
    this.timer = null;
    document.addEventListener("visibilitychange", () => { if (!document.hidden) this.lookAgain(); });
    window.addEventListener("online", () => this.lookAgain());
    window.addEventListener("pageshow", (event) => { if (event.persisted) this.lookAgain(); });
    setInterval(() => this.#giveUp(), 1000);
    this.connect();
  }

  ageMs(now = performance.now()) { return now - (this.heardAt ?? this.openedFirst); }

  isOld(now = performance.now()) { return this.ageMs(now) > OLD_MS; }

  connect() {
    clearTimeout(this.timer);
    if (this.socket) { this.socket.onclose = this.socket.onmessage = null; this.socket.close(); }
    this.socket = new WebSocket(`${location.protocol === "https:" ? "wss:" : "ws:"}//${location.host}/live`);
    this.openedAt = performance.now();
    this.openedFirst ??= this.openedAt;
    this.socket.onmessage = (event) => this.#hear(event.data);
    this.socket.onclose = () => {
      this.timer = setTimeout(() => this.connect(), this.retryMs);
      this.retryMs = Math.min(this.retryMs * 2, LAST_RETRY_MS);
    };
  }

  lookAgain() {
    if (this.isOld() || this.socket?.readyState !== WebSocket.OPEN) this.connect();
  }

  #hear(text) {
    let status;
    try { status = JSON.parse(text); } catch { return; }
    if (typeof status.state !== "string") return; // an answer to a word, not a status
    this.retryMs = FIRST_RETRY_MS;
    this.heardAt = performance.now();
    document.dispatchEvent(new CustomEvent("status", { detail: status }));
    this.told(status, this.heardAt);
  }

  #giveUp() {
    // A stream that is open but mute (a daemon that hangs) is given up and tried anew.
    const now = performance.now();
    if (now - this.openedAt > GIVEN_UP_MS && this.ageMs(now) > GIVEN_UP_MS && !document.hidden) this.connect();
  }
}

export async function sayWord(word, piece = null) {
  // Tell liveaid a word, as a pad or a foot switch would; a sentence on how that went.
  try {
    const answer = await fetch("/word", {
      method: "POST", headers: { "Content-Type": "application/json" },
      body: JSON.stringify(piece === null ? { word } : { word, piece }),
    });
    if (answer.ok) return (await answer.json()).taken === false ? `“${word}” is not taken here.` : `“${word}” was heard.`;
    const said = (await answer.text()).trim();
    return answer.status === 404 ? `“${word}” is not taken here.` : said.slice(0, 120) || `“${word}” was refused.`;
  } catch {
    return `“${word}” did not get through.`;
  }
}
