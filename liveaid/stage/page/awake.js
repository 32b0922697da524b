// Keeps the screen on where the browser lets us, and says so where it may go dark.
export class Awake {
  constructor(told = () => {}) {
    this.told = told;
    this.lock = null;
    this.says = "Asking to keep the screen on.";
    document.addEventListener("visibilitychange", () => { if (!document.hidden) this.ask(); });
    this.ask();
  }

  get held() { return this.lock !== null && !this.lock.released; }

  async ask() {
    if (this.held) return;
    if (!("wakeLock" in navigator)) {
      this.#say(isSecureContext
        ? "Screen may go dark: this browser cannot keep it on. Set the device to stay on."
        : "Screen may go dark: only a secure address (--share gives one) can keep it on. Set the device to stay on.");
      return;
    }
    try {
      this.lock = await navigator.wakeLock.request("screen");
      this.lock.addEventListener("release", () => this.#say("Screen may go dark."));
      this.#say("Screen is kept on.");
    } catch {
      this.#say("Screen may go dark: the browser refused to keep it on.");
    }
  }

  #say(text) {
    this.says = text;
    this.told(this);
  }
}
