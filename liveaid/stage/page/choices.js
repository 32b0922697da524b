// What this screen was told once and keeps: its size and distance, its look, its keys.
import { readAway, readScreen, SUPPOSED_AWAY_M, supposedInches } from "/sizes.js";

const KEY = "liveaid";

export function choices() {
  try { return JSON.parse(localStorage.getItem(KEY)) ?? {}; } catch { return {}; }
}

export function choose(changes) {
  try { localStorage.setItem(KEY, JSON.stringify({ ...choices(), ...changes })); } catch { /* not kept: a private window */ }
}

export function screenOf(status) {
  // {inches, awayM, asked}: by its own answer, else the command's (--screen, --away), else supposed.
  const own = choices(), told = status?.screen ?? {};
  const inches = readScreen(own.screen) ?? told.inches ?? null;
  const awayM = readAway(own.away) ?? told.away_m ?? null;
  return {
    inches: inches ?? supposedInches(screen.width, screen.height), awayM: awayM ?? SUPPOSED_AWAY_M,
    asked: own.screen !== undefined || own.away !== undefined || inches !== null || awayM !== null,
  };
}

export function dress() {
  // The look: dark unless chosen otherwise, or as the device has it.
  const { theme = "dark" } = choices();
  const bright = theme === "device" ? matchMedia("(prefers-color-scheme: light)").matches : theme === "bright";
  document.documentElement.dataset.theme = bright ? "bright" : "dark";
  document.querySelector('meta[name="theme-color"]')?.setAttribute("content", bright ? "#fffaf0" : "#120f14");
}
