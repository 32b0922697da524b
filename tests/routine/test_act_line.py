"""One line of `acts:` or `juggle:`, read by hand: what it says, or what was found and would do."""

from __future__ import annotations

import pytest

from liveaid.routine.act_line import ActLine, Over, TurnLine, beat_of, read_act, read_turn
from liveaid.routine.written_numbers import LineError


@pytest.mark.parametrize(
    ("key", "metre", "beat"),
    [
        ("0", 4, 0.0), ("-1/2", 4, -0.5), ("-4000", 4, -4000.0), (" bar 1 ", 4, 0.0),
        # Two bars of four, and one beat and a half; two of three; the last quarter of a bar.
        ("bar 3 beat 2 1/2", 4, 9.5), ("bar 3", 3, 6.0), ("bar 2 beat 4 3/4", 4, 7.75),
    ],
)  # fmt: skip
def test_a_line_stands_on_a_beat_from_0_or_in_a_bar_from_1(key: str, metre: int, beat: float):
    assert beat_of(key, metre=metre) == beat


BEAT = 'beats from the start such as 0, 2 1/2 or "bar 3 beat 2" would do'
IN_BAR = "bars from 1, and beats from 1 to below 5, would do"


@pytest.mark.parametrize(
    ("key", "found", "would_do"),
    [
        ("two", "two", BEAT),
        ("bar", "bar", BEAT),
        ("-4001", "-4001", BEAT),
        ("bar 0", "bar 0", IN_BAR),
        ("bar 1 beat 5", "bar 1 beat 5", IN_BAR),
        ("bar 1 beat 0", "0", "a beat of the bar from 1 to 4000 would do"),
    ],
)
def test_a_place_that_cannot_be_meant_is_told(key: str, found: str, would_do: str):
    with pytest.raises(LineError) as caught:
        beat_of(key, metre=4)
    assert (caught.value.found, caught.value.would_do) == (found, would_do)


PLAIN = {
    "part": None, "sound": None, "beats": None, "over": None, "times": 1, "open": None,
    "clicks": None, "cuts": None, "rolled": False, "percent": None, "swapped": False,
}  # fmt: skip


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("push", {"name": "push"}),
        ("let go yes", {"name": "let go", "part": "yes"}),
        ("set pitch -3.5", {"name": "set pitch", "percent": -3.5}),
        ("set pitch +2% for 1", {"name": "set pitch", "percent": 2.0, "beats": 1.0}),
        ("push yes of my call for 1 1/2 over 1/4 turn open 0 to 1/8 and 1/4 to 3/8",
         {"name": "push", "part": "yes", "sound": "my call", "beats": 1.5,
          "over": Over(0.25, "turns"), "open": ((0.0, 0.125), (0.25, 0.375))}),
        ("push for 2 beats", {"name": "push", "beats": 2.0}),
        ("push for 1 beat", {"name": "push", "beats": 1.0}),
        ("pull closed over 0.2 s", {"name": "pull", "open": (), "over": Over(0.2, "s")}),
        ("push over 1", {"name": "push", "over": Over(1.0, "of the part")}),
        ("push over 1 1/2 turns", {"name": "push", "over": Over(1.5, "turns")}),
        ("push over 1 beat", {"name": "push", "over": Over(1.0, "beats")}),
        ("push over 3 beats", {"name": "push", "over": Over(3.0, "beats")}),
        ("push open 0 to 1 and 1 to 2 and 3 to 4",  # spans may touch
         {"name": "push", "open": ((0.0, 1.0), (1.0, 2.0), (3.0, 4.0))}),
        ("flare no clicks 64 x2", {"name": "flare", "part": "no", "clicks": 64, "times": 2}),
        ("flare clicks 1", {"name": "flare", "clicks": 1}),
        ("crab cuts 4 rolled x256",
         {"name": "crab", "cuts": 4, "rolled": True, "times": 256}),
        ("trade x1 swapped", {"name": "trade", "swapped": True}),
    ],
)  # fmt: skip
def test_a_line_says_what_with_which_part_how_long_how_far_and_the_fader(text, said):
    assert read_act(text) == ActLine(**PLAIN | said)


def test_an_act_is_told_from_a_figure():
    assert (read_act("back-cue yes").kind, read_act("baby yes").kind) == ("back-cue", None)


HOW_FAR = "1/2 (of the part), 1/4 turn, 0.2 s or 2 beats would do"
RISING = "beats in rising order would do"
SUCH_AS = "such as `open 0 to 1/4` would do"


@pytest.mark.parametrize(
    ("text", "found", "would_do"),
    [
        ("", "nothing", "an act or a figure such as `baby` would do"),
        ("push yes for", "nothing", "beats such as 2, 1.5 or 1/2 would do"),
        ("push yes for 0", "0", "beats above 0 would do"),
        ("push for 1 for 2", "for twice", "once would do"),
        ("push x2 x3", "x3 twice", "once would do"),
        ("push over", "nothing", "how far such as 2, 1.5 or 1/2 would do"),
        ("push over 0 s", "over 0 s", HOW_FAR),
        ("push over 1 1/4", "over 1 1/4", HOW_FAR),
        ("push over 2", "over 2", HOW_FAR),
        ("push open 1", "open 1", SUCH_AS),
        ("push open 0 to 1 to 2", "open 0 to 1 to 2", SUCH_AS),
        ("push open 1/4 to 1/4", "open 1/4 to 1/4", RISING),
        ("push open 1/2 to 1/4", "open 1/2 to 1/4", RISING),
        ("push open 0 to 1 and 1/2 to 2", "open 0 to 1 and 1/2 to 2", RISING),
        ("push open 0 to 1 and 2 to 3 and 2 1/2 to 4", "open 0 to 1 and 2 to 3 and 2 1/2 to 4",
         RISING),
        ("push closed now", "closed now", "closed alone would do"),
        ("push x2 now", "x2 now", "x2 alone would do"),
        ("baby x0", "x0", "x1 to x256 would do"),
        ("baby x257", "x257", "x1 to x256 would do"),
        ("flare clicks", "clicks", "clicks 1 to clicks 64 would do"),
        ("flare clicks 0", "clicks 0", "clicks 1 to clicks 64 would do"),
        ("flare clicks 65", "clicks 65", "clicks 1 to clicks 64 would do"),
        ("flare cuts 2 3", "cuts 2 3", "cuts 1 to cuts 64 would do"),
        ("flare cuts two", "cuts two", "cuts 1 to cuts 64 would do"),
        ("set pitch", "nothing", "a pitch in per cent such as +3.5 would do"),
        ("set pitch up", "up", "a pitch in per cent such as +3.5 would do"),
        ("baby of call", "of call", "a part and its sound would do"),
        ("baby yes of", "of", "a part and its sound would do"),
        ("baby yes loudly", "loudly",
         "one of for, over, open, closed, clicks, cuts, rolled, of, swapped or x2 would do"),
    ],
)  # fmt: skip
def test_a_line_that_cannot_be_meant_says_what_it_found(text: str, found: str, would_do: str):
    with pytest.raises(LineError) as caught:
        read_act(text)
    assert (caught.value.found, caught.value.would_do) == (found, would_do)


def turn(**said) -> TurnLine:
    plain = {"part": None, "sound": None, "from_beat": 0.0, "to_beat": None,
             "back": "back-cue", "times": 1}  # fmt: skip
    return TurnLine(**plain | said)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("left", turn(side="left")),
        ("right kick", turn(side="right", part="kick")),
        ("left 0 to 2", turn(side="left", to_beat=2.0)),
        ("right kick 1/2 to 1 1/2 of groove back wind x2",
         turn(side="right", part="kick", sound="groove", from_beat=0.5, to_beat=1.5, back="wind",
              times=2)),
        ("left back runs on", turn(side="left", back="runs on")),
        ("trade x4", ActLine(name="trade", times=4)),
    ],
)  # fmt: skip
def test_a_turn_says_which_record_from_which_beat_to_which_and_the_way_back(text, said):
    assert read_turn(text) == said


FROM_TO = "beats of the record such as `0 to 2` would do"
MORE = "`back wind`, `of` a sound, or x2 would do"


@pytest.mark.parametrize(
    ("text", "found", "would_do"),
    [
        ("", "nothing", "an act or a figure such as `baby` would do"),
        ("push yes", "push yes", "left or right, or a figure with `juggle:`, would do"),
        ("left 2", "2", FROM_TO),
        ("left 0 to 1 to 2", "0 to 1 to 2", FROM_TO),
        ("left 2 to 2", "2 to 2", "an end after the begin would do"),
        ("left 2 to 1", "2 to 1", "an end after the begin would do"),
        ("left back home", "back home",
         "back back-cue or back wind or back needle or back runs on would do"),
        ("left 0 to 2 of groove", "of", MORE),
        ("left kick of", "of", MORE),
        ("left x2 now", "x2", MORE),
        ("left for 2", "for", MORE),
    ],
)  # fmt: skip
def test_a_turn_that_cannot_be_meant_says_what_it_found(text: str, found: str, would_do: str):
    with pytest.raises(LineError) as caught:
        read_turn(text)
    assert (caught.value.found, caught.value.would_do) == (found, would_do)
