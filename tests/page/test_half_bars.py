"""The page's own count in a set piece that ends within a bar: 2 1/2 bars of four, 10 beats."""

COUNT = """async (lefts) => {
  const { Count } = await import('/beats.js');
  const { barsSaid } = await import('/picture.js');
  const told = (left) => {
    const count = new Count();
    count.hear({ state: 'following', tempo: 0, beats_left: left, bars_left: 1,
      piece: { index: 0, bars: 2.5 }, routine: { metre: 4, edition: 'e' } }, 0);
    const { bars, bar, beat } = count.at(0);
    return [bars, bar, beat];
  };
  return { told: lefts.map(told), said: [8, 1, 2.5, 0.25, 4 / 3].map(barsSaid) };
}"""


def test_bars_left_are_counted_from_the_first_bar_and_said_as_written(on_page):
    """By hand: 10 beats left is beat 1 of bar 1 of three begun; 7.5 left, 2.5 gone, is its beat 3;
    6 left is bar 2; 2 left is the half bar; 0.5 left its second beat."""
    found = on_page(lambda page: page.evaluate(COUNT, [10, 7.5, 6, 2, 0.5]))
    assert found["told"] == [[3, 1, 1], [3, 1, 3], [2, 2, 1], [1, 3, 1], [1, 3, 2]]
    assert found["said"] == ["8 bars", "1 bar", "2 1/2 bars", "1/4 bar", "1 1/3 bars"]
