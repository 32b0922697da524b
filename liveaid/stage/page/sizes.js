// How large a letter must be to be read from where the performer stands. Pure.
// ISO 9241-303:2011: height of a capital letter 16 arc minutes at the least, 20 to 22 good.
export const LEAST = 16;
export const GOOD = 20;
export const CAPITAL = 0.711;    // capital height over font size of letters.woff2 (its OS/2 table)
export const SUPPOSED_AWAY_M = 3;

const MM_PER_INCH = 25.4;

export function heightMm(minutes, awayM) {
  // What is seen under so many arc minutes: 13.96 mm for 16' at 3 m.
  return 1000 * awayM * Math.tan((minutes / 60) * (Math.PI / 180));
}

export function minutePx({ inches, awayM, screenWidth, screenHeight }) {
  // Pixels (the page's) that are seen under one arc minute.
  const pxPerMm = Math.hypot(screenWidth, screenHeight) / (inches * MM_PER_INCH);
  return heightMm(1, awayM) * pxPerMm;
}

export function supposedInches(screenWidth, screenHeight) {
  // Before anyone was asked: by what such a screen most often is (common practice, no source).
  const short = Math.min(screenWidth, screenHeight);
  return short < 500 ? 6 : short < 900 && Math.max(screenWidth, screenHeight) < 1400 ? 10.5 : 15.6;
}

export function fontPx(minutes, minute) {
  // The font size whose capitals are seen under so many arc minutes.
  return (minutes * minute) / CAPITAL;
}

export function readScreen(text) {
  // "6in", "15 cm" or "150mm" as inches; null for anything else.
  const found = /^\s*(\d+(?:[.,]\d+)?)\s*(in|"|cm|mm)?\s*$/.exec(text ?? "");
  if (!found) return null;
  const value = Number(found[1].replace(",", "."));
  const inches = found[2] === "cm" ? value / 2.54 : found[2] === "mm" ? value / MM_PER_INCH : value;
  return inches >= 2 && inches <= 200 ? inches : null;
}

export function readAway(text) {
  // "3m", "80 cm" or "10ft" as metres; null for anything else.
  const found = /^\s*(\d+(?:[.,]\d+)?)\s*(m|cm|ft)?\s*$/.exec(text ?? "");
  if (!found) return null;
  const value = Number(found[1].replace(",", "."));
  const metres = found[2] === "cm" ? value / 100 : found[2] === "ft" ? value * 0.3048 : value;
  return metres >= 0.2 && metres <= 30 ? metres : null;
}
