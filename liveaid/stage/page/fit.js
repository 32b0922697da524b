// Brings words into a box: as large as they go, in a few lines, shortened where they must be. Pure
// but for `measure(text)`, the width of a text at font size 1.
const LINE = 1.02;               // line height over font size

export function fit(text, { width, height, size, least, lines, measure }) {
  // The lines and the font size; shortened only where even the least size has no room. Empty where
  // not one letter fits.
  const words = text.trim().split(/\s+/).filter(Boolean);
  if (!words.length || least > size) return { lines: [], size, shortened: words.length > 0 };
  const steps = 5;
  for (let step = 0; step <= steps; step++) {
    const px = size - ((size - least) * step) / steps;
    const most = Math.min(lines, Math.floor(height / (px * LINE) + 0.001));
    const broken = most > 0 && wrap(words, width / px, most, measure);
    if (broken) return { lines: broken, size: px, shortened: false };
  }
  const most = Math.min(lines, Math.floor(height / (least * LINE) + 0.001));
  if (most < 1) return { lines: [], size: least, shortened: true };
  return { lines: shorten(words, width / least, most, measure), size: least, shortened: true };
}

function wrap(words, width, most, measure) {
  // Lines no wider than `width`, as even as they go; null where they do not go.
  const first = greedy(words, width, measure);
  if (!first || first.length > most) return null;
  let even = first;
  for (let tried = width * 0.94; tried > width / 2; tried *= 0.94) {
    const next = greedy(words, tried, measure);
    if (!next || next.length > first.length) break;
    even = next;
  }
  return even;
}

function greedy(words, width, measure) {
  const lines = [];
  let line = "";
  for (const word of words) {
    if (measure(word) > width) return null;
    const longer = line ? `${line} ${word}` : word;
    if (measure(longer) <= width) line = longer;
    else { lines.push(line); line = word; }
  }
  return [...lines, line];
}

function shorten(words, width, most, measure) {
  // Whole words as far as they go, then the last one cut: a name is known by how it begins.
  for (let kept = words.length - 1; kept > 0; kept--) {
    const tried = [...words.slice(0, kept - 1), `${words[kept - 1]}…`];
    const broken = wrap(tried, width, most, measure);
    if (broken) return broken;
  }
  const letters = [...words[0]];
  for (let kept = letters.length - 1; kept > 0; kept--) {
    const tried = `${letters.slice(0, kept).join("")}…`;
    if (measure(tried) <= width) return [tried];
  }
  return [];
}
