"""What check, arrange, rehearse and review print, line by line, from small hand-made findings."""

import io
from dataclasses import replace
from types import SimpleNamespace

import click
import pytest

from liveaid.cli import main
from liveaid.commands import arrange, check, rehearse, review
from liveaid.commands.rehearse import PERCENT
from liveaid.errors import LiveaidError, UsageError
from liveaid.practice.limits import LEVELS
from liveaid.routine import Routine
from liveaid.routine.arrange import TERMS, Answer, Arrangement, Item
from liveaid.routine.arrange.items import traded
from liveaid.routine.check import Finding
from liveaid.routine.load import read_routine
from liveaid.terminal import HarmlessConsole

SCENE = """\
title: Two Stalls
limit: "0:30"
pieces:
  - {name: One, bars: 2, tempo: 120, count: left, left: {hand: runs, at: 10.0}}
  - name: Two
    bars: 2
    tempo: 120
    count: clock
    right: {hand: works, from: 5.0, to: 6.0, cue: 5.4, strokes: [0, 4]}
  - {name: Three, bars: 2, tempo: 120, count: left, left: {hand: runs, at: 23.0}}
  - name: Four
    bars: 1
    tempo: 120
    count: left
    left: {hand: runs, at: 27.0}
    right: {hand: works, from: 5.0, to: 6.0, cue: 5.4, strokes: [0, 2]}
"""


def cells(text):
    return [" ".join(line.split()) for line in text.splitlines()]


@pytest.fixture
def checked(tmp_path, monkeypatch, capsys):
    """checked(text, options): the lines that check prints, and its exit status."""
    monkeypatch.setenv("COLUMNS", "120")

    def of(text, *options):
        (tmp_path / "routine.yaml").write_text(text)
        with pytest.raises(SystemExit) as left:
            main(["check", str(tmp_path), *options])
        return cells(capsys.readouterr().out), left.value.code or 0

    return of


def test_every_change_with_its_cue_its_way_and_its_time(checked, tmp_path):
    """1.8 s a turn: 10 s are 5.556 turns, the sixth .556 on, 200 degrees; 23 s 12.778, 280; 27 s
    15. Left runs on from 10 s for 4 s, so 9 s of record, 5 turns, are to be wound to 23 s; from
    there 4 s later it is at 27. Right is at its cue: there, with nothing to be done."""
    lines, code = checked(SCENE)
    assert code == 0
    assert lines[0] == f"Two Stalls ({tmp_path}/routine.yaml)"
    begin = lines.index("into deck cue wind has needs spare")
    assert lines[begin + 2 : begin + 7] == [
        "1 One left 5 200° set before",
        "2 Two right 3 0° set before",
        "3 Three left 12 280° +5.0 2.5 s 2.2 s +0.7 tight",
        "4 Four left 15 0° runs on",
        "4 Four right 3 0° there 4.5 s 0.0 s +9.0 easy",
    ]
    assert "3 Three, bar 1" in " ".join(lines)
    assert "The whole routine" in " ".join(lines)
    assert lines[-1] == "0:14 of 0:30, 0 errors, 1 warning, 5 remarks: playable."


def test_what_each_hand_does_by_bar_and_beat(checked):
    """Like beats are joined; a set piece's name stands on its first line."""
    lines, _ = checked(SCENE, "--hands", "--fastest")
    begin = lines.index("set piece from to left hand right hand third hand")
    assert lines[begin + 2 : begin + 6] == [
        "1 One 1.1 1.1 releases left -", "1.2 2.4 - -", "2 Two 1.1 1.1 crossfader works right",
        "1.2 1.3 winds left -",
    ]  # fmt: skip
    begin = lines.index("set piece tempo fastest set by")
    assert lines[begin + 2] == "1 One 120 no act that time is short for"


def test_what_cannot_be_played_is_said_at_the_end_and_by_the_status(checked):
    """From 14 s to 41 s are 27 s of record, 15 turns, with a free hand for 2.5 s."""
    lines, code = checked(SCENE.replace("at: 23.0", "at: 41.0"))
    assert code == 1
    assert "3 Three left 22 280° +15.0 2.5 s 4.2 s needle -3.3 impossible" in lines
    assert lines[-1] == "0:14 of 0:30, 2 errors, 0 warnings, 6 remarks: not playable as written."


# -- arrange


def routine_of(*names):
    pieces = [
        {"name": name, "bars": 2, "tempo": 100, "count": "left",
         "left": {"hand": "runs", "at": 10.0 * n + 1}}
        for n, name in enumerate(names)
    ]  # fmt: skip
    return Routine.model_validate({"title": "Market", "pieces": pieces})


THREE = routine_of("One", "Two", "Three")


def answer(order, *, swapped=(), **terms):
    """An order whose first place costs the terms given."""
    rows = [tuple(terms.get(term, 0) for term in TERMS)] + [(0,) * len(TERMS)] * 2
    items = tuple(
        Item(n, n in swapped, THREE.pieces[n]) for n in order
    )  # fmt: skip
    return Answer(sum(terms.values()), items, tuple(rows))


@pytest.fixture
def printed(monkeypatch):
    """printed(module): what it prints from now on, 200 columns wide."""
    monkeypatch.setenv("COLUMNS", "200")

    def of(module=None):
        out = io.StringIO()
        console = HarmlessConsole(file=out)
        if module is not None:
            monkeypatch.setattr(module, "console", lambda **_: console)
        return console, out

    return of


WRITTEN = answer((0, 1, 2), key=20, hands=10)


def test_what_a_check_comes_to_in_its_last_line(printed):
    """Errors first; then whether it was laid out, or is not placed at all. 3 * 2 bars of 2.4 s."""
    free = THREE.pieces[0].model_copy(update={"left": THREE.pieces[0].left.model_copy(
        update={"at_s": None, "sound": "s"})})  # fmt: skip
    unplaced = THREE.model_copy(update={"pieces": (free,), "limit_s": 60.0})
    error = Finding(severity="error", rule="r", says="s", way_out="", piece=0, name="One", bar=3)
    for routine, laid_out, findings, last in (
        (THREE, False, (), "0:14.4, 0 errors, 0 warnings, 0 remarks: playable."),
        (THREE, True, (), "0:14.4, 0 errors, 0 warnings, 0 remarks: playable, laid out as render"
                          " would."),
        (THREE, True, (error,), "0:14.4, 1 error, 0 warnings, 0 remarks: not playable as written."),
        (unplaced, False, (), "0:04.8 of 1:00, 0 errors, 0 warnings, 0 remarks: nothing against it"
                              " so far; winding waits for the deck files."),
        (unplaced, False, (error,), "0:04.8 of 1:00, 1 error, 0 warnings, 0 remarks: not playable"
                                    " as written."),
    ):  # fmt: skip
        _, out = printed(check)
        seen = SimpleNamespace(routine=routine, laid_out=laid_out)
        check._show("routine.yaml", seen, findings, show_hands=True)
        assert out.getvalue().splitlines()[-1] == last
    hands = check._hand_table(THREE)
    assert next(iter(hands.columns[0].cells)).plain == "1 One"
    assert [column.no_wrap for column in check._change_table(THREE).columns] == [False] + 7 * [True]


def test_a_change_within_a_set_piece_is_told_with_its_bar():
    """Two bars of four: beat 4 is the second."""
    for beat, said in ((0.0, "2 Two"), (3.9, "2 Two"), (4.0, "2 Two, bar 2")):
        move = SimpleNamespace(after=1, beat_due=lambda routine, beat=beat: beat)
        assert check._place(move, THREE) == said


@pytest.mark.parametrize(
    ("fastest_bpm", "within", "said", "by"),
    [
        (None, True, "", "no act that time is short for"),
        (0.0, True, "none", "bar 2 beat 1.5: push; at no tempo"),
        (91.96, True, "92.0", "bar 2 beat 1.5: push; slower than written"),
        (100.0, True, "100.0", "bar 2 beat 1.5: push"),
        (103.0, True, "103.0", "bar 2 beat 1.5: push"),
        (140.0, False, "140.0", "bar 2 beat 1.5: push; the pitch fader does not reach it"),
    ],
)
def test_how_fast_a_set_piece_may_be_and_what_sets_it(fastest_bpm, within, said, by):
    """Beat 4.5 of bars of four is half a beat into the second bar."""
    demand = None if fastest_bpm is None else SimpleNamespace(beat=4.5, says="push")
    told = SimpleNamespace(
        demand=demand, fastest_bpm=fastest_bpm, tempo_bpm=100.0, within_pitch=within
    )
    assert (check._fastest_said(fastest_bpm), check._set_by(THREE, told)) == (said, by)


def test_a_routine_s_seconds_are_told_to_a_tenth_of_a_millisecond():
    seen = SimpleNamespace(
        routine=THREE.model_copy(
            update={"pieces": (THREE.pieces[0].model_copy(update={"tempo_bpm": 97.0}),)}
        ),
        laid_out=False,
    )
    found = check._report(SimpleNamespace(file="f", to_json=dict), seen, ())
    assert found["total_s"] == 4.9485  # 8 * 60 / 97 = 4.948453...


def shown(printed, found, stuck=()):
    _, out = printed(arrange)
    arrange._show(THREE, found, "2 of 3 set pieces may move", list(stuck))
    return cells(out.getvalue())


def test_the_orders_beside_what_they_cost(printed):
    best = answer((2, 0, 1), swapped={0}, key=5)
    lines = shown(printed, Arrangement((best, WRITTEN), WRITTEN, True, 5), stuck=[1])
    assert lines[:3] == [
        "Market", "2 of 3 set pieces may move; fixed ones keep their place number.",
        "Cannot trade decks, no sound named: Two.",
    ]  # fmt: skip
    assert "as written 1 2" in lines
    assert "together 30 5 30" in lines
    assert "1 Three 5 One 30" in lines
    assert "2 ⇄ One 0 Two 0" in lines
    assert "The first is the best there is for these weights." in lines


@pytest.mark.parametrize(
    ("best", "said"),
    [
        (answer((2, 0, 1), key=5, hands=10), ["Less of: {key}."]),
        (answer((2, 0, 1), key=5, hands=15), ["Less of: {key}.", "For that, more of: {hands}."]),
        (answer((2, 0, 1), key=20, hands=10, winding=7), []),
        (WRITTEN, ["The written order is already the best of those looked at."]),
    ],
)
def test_why_the_first_order_is_the_first(best, said):
    """Winding, and what is tight, is told from the laid out routines, not by points."""
    from liveaid.routine.arrange import TERM_WORDS

    told = list(arrange._reasons(Arrangement((best,), WRITTEN, True, 5)))
    assert told == [line.format(**TERM_WORDS) for line in said]


@pytest.mark.parametrize(
    ("more", "last"),
    [
        ({"exact": True, "bound": 5}, "The first is the best there is for these weights."),
        ({"exact": False, "bound": 15},
         "More than 16 may move, so the first is good, not proven: no order costs less than 15"
         " points, 25.0 % below it."),
        ({"exact": True, "bound": 5, "laid_orders": 7},
         "7 orders were laid out as render would; the first costs least."),
    ],
)  # fmt: skip
def test_how_good_the_first_order_is(printed, more, last):
    found = Arrangement((answer((1, 0, 2), key=20),), WRITTEN, **more, left_out=(2,))
    lines = shown(printed, found)
    assert lines[-1] == last
    assert lines[-2] == "Left out to keep the limit: Three."
    assert arrange._report(THREE, found, arrange._weights([]))["left_out"] == ["Three"]


def test_an_order_as_plain_data():
    best = answer((2, 0, 1), swapped={0}, key=5)
    found = arrange._report(THREE, Arrangement((best,), WRITTEN, False, 2), arrange._weights([]))
    assert (found["exact"], found["bound"], found["gap"]) == (False, 2, 0.6)
    assert found["answers"][0]["order"] == [
        {"piece": 2, "name": "Three", "swapped": False, "points": 5},
        {"piece": 0, "name": "One", "swapped": True, "points": 0},
        {"piece": 1, "name": "Two", "swapped": False, "points": 0},
    ]


def test_numbers_stand_to_the_right_in_both_tables():
    best = answer((2, 0, 1), swapped={0}, key=5)
    found = Arrangement((best, WRITTEN), WRITTEN, True, 5)
    costs, orders = arrange._cost_table(found), arrange._order_table(found)
    assert [(str(each.header), each.justify) for each in costs.columns] == [
        ("", "left"), ("as written", "right"), ("1", "right"), ("2", "right"),
    ]  # fmt: skip
    assert [(str(each.header), each.justify) for each in orders.columns] == [
        ("", "right"), ("1", "left"), ("", "right"), ("2", "left"), ("", "right"),
    ]  # fmt: skip


def test_a_share_of_the_cost_is_told_to_a_hundredth_of_a_per_cent():
    best = answer((2, 0, 1), key=3)
    found = Arrangement((best,), WRITTEN, False, 2)
    assert arrange._report(THREE, found, arrange._weights([]))["gap"] == 0.3333


def test_orders_that_were_laid_out_are_held_against_each_other(monkeypatch):
    """Both have to be; what differs is said first."""
    monkeypatch.setattr(
        arrange, "against", lambda best, written: SimpleNamespace(says=lambda: [best + written])
    )
    best = answer((2, 0, 1), key=5, hands=10)
    for mine, other, told in (("a", "b", ["ab"]), ("a", None, []), (None, "b", [])):
        found = Arrangement((replace(best, laid=mine),), replace(WRITTEN, laid=other), True, 5)
        assert list(arrange._reasons(found)) == [*told, f"Less of: {arrange.TERM_WORDS['key']}."]


@pytest.fixture
def arranged(monkeypatch, tmp_path, printed):
    """arranged(**options): what is asked for, and what is printed; two orders are found."""
    _, out = printed(arrange)
    asked = []
    found = Arrangement((answer((2, 0, 1), swapped={0}), WRITTEN), WRITTEN, True, 5)
    opening = SimpleNamespace(file=tmp_path / "routine.yaml")
    monkeypatch.setattr(arrange, "opened", lambda scene: opening)
    monkeypatch.setattr(arrange, "load_routine", lambda file: THREE)
    monkeypatch.setattr(arrange, "say_state", lambda opening: None)
    monkeypatch.setattr(arrange, "layer", lambda opening: None)
    monkeypatch.setattr(arrange, "arrange", lambda routine, **how: asked.append(how) or found)
    monkeypatch.setattr(arrange, "_show", lambda routine, found, said, stuck: out.write(f"{stuck}"))
    monkeypatch.setattr(arrange, "_say_what_it_lacks", lambda written: None)

    def of(**options):
        asked.clear()
        out.seek(0)
        out.truncate()
        nothing = {parameter.name: () for parameter in arrange.command.params}
        options = {"scene": "s", "write": None, "pick": 1, "best": 3, "as_json": False} | options
        arrange.command.callback(**(nothing | options))
        return asked[0] if asked else None, out.getvalue()

    return of


def test_as_many_orders_are_asked_for_as_are_shown_or_picked(arranged, monkeypatch):
    """Without a sound named a set piece cannot trade decks; a hundred can be arranged."""
    asked, said = arranged(swap=("Two",))
    assert (asked["best"], asked["swap"], said) == (3, {1}, "[1]")
    assert arranged(pick=5)[0]["best"] == 5
    monkeypatch.setattr(arrange, "MOST_PIECES", 3)
    arranged()
    monkeypatch.setattr(arrange, "MOST_PIECES", 2)
    with pytest.raises(LiveaidError, match="3 set pieces; at most 2 can be arranged"):
        arranged()


@pytest.mark.parametrize(
    ("kept", "as_it_was", "said"),
    [
        (None, True, ""),
        ("old.yaml", True, "What was there is kept as old.yaml.\n"),
        (None, False, "Seconds were given up for traded decks, so the whole file is written anew,"
                      " without its comments.\n"),
    ],
)  # fmt: skip
def test_the_order_that_is_picked_is_written(arranged, monkeypatch, kept, as_it_was, said):
    picked = []
    monkeypatch.setattr(
        arrange, "_write", lambda routine, file, answer, to: picked.append(answer)
        or (kept, as_it_was)
    )  # fmt: skip
    told = arranged(write="new.yaml", pick=2)[1]
    assert picked == [WRITTEN]
    assert told == (
        "[]Order 2 written to new.yaml. The deck files stay as they are; read the prompts again,"
        f" then check.\n{said}"
    )
    with pytest.raises(UsageError, match="--pick 3: only 2 orders were found"):
        arranged(write="new.yaml", pick=3)


WRITTEN_OUT = """\
title: Two Stalls
sounds:
  bells: {file: sounds/bells.wav}  # rung by hand
  tram: {file: /s/tram.wav}
pieces:
  - {name: One, bars: 2, tempo: 120, left: {hand: runs, sound: bells}}  # opens
  - {name: Two, bars: 2, tempo: 120, left: {hand: runs, sound: tram}}
"""


def test_an_order_is_written_with_all_else_as_it_was(tmp_path):
    """In another folder a sound is named from there, but for one named by its whole path. Where
    what is placed trades decks, its seconds are given up and the file is written anew; so it is
    elsewhere, where its deck files have to be named."""
    old, there, new = (tmp_path / name for name in ("old.yaml", "there.yaml", "new/map.yaml"))
    new.parent.mkdir()
    old.write_text(WRITTEN_OUT)
    routine = read_routine(old.read_bytes())
    order = Answer(0, tuple(Item(n, False, routine.pieces[n]) for n in (1, 0)), ())
    lines = WRITTEN_OUT.splitlines()
    assert arrange._write(routine, old, order, there) == (None, True)
    assert there.read_text().splitlines() == [*lines[:5], lines[6], lines[5]]
    assert arrange._write(routine, old, order, new) == (None, True)
    assert new.read_text() == there.read_text().replace("sounds/bells.wav", "'../sounds/bells.wav'")
    before = there.read_text()
    kept, as_it_was = arrange._write(routine, old, replace(order, items=order.items[::-1]), there)
    assert (kept.read_text(), there.read_text(), as_it_was) == (before, WRITTEN_OUT, True)

    old.write_text(WRITTEN_OUT.replace("sound: bells", "sound: bells, at: 10.0"))
    placed = read_routine(old.read_bytes())
    both = (Item(0, True, traded(placed.pieces[0])), Item(1, False, placed.pieces[1]))
    assert arrange._write(placed, old, Answer(0, both, ()), there)[1] is False
    assert read_routine(there.read_bytes()).pieces[0].right.at_s is None
    assert "# opens" not in there.read_text()
    here = tuple(Item(n, False, placed.pieces[n]) for n in (0, 1))
    assert arrange._write(placed, old, Answer(0, here, ()), new)[1] is False
    written = read_routine(new.read_bytes())
    assert (written.decks.left.file, written.pieces[0].left.at_s) == ("../decks/left.wav", 10.0)


def test_what_is_to_be_done_after_an_order_is_written():
    traded = answer((0, 1, 2), swapped={1})
    assert arrange._then(traded).startswith("Decks were traded: render the deck files anew")
    assert arrange._then(WRITTEN).startswith("The deck files stay as they are")


@pytest.mark.parametrize("text", ["tight=10001", "tight=-1", "tight", "tight=1.5", "x=1"])
def test_a_weight_is_a_known_name_with_whole_points_to_10000(text):
    with pytest.raises(UsageError, match="would do"):
        arrange._weights([text])
    assert arrange._weights(["tight=10000"]).tight == 10000


def test_which_set_pieces_may_move():
    assert arrange._may_move(THREE, ()) == (
        frozenset({0, 1, 2}), "no set piece is marked `order: free`, so all may move",
    )  # fmt: skip
    assert arrange._may_move(THREE, ("Two",)) == (frozenset({1}), "1 of 3 set pieces may move")
    assert arrange._may_move(THREE, ("all",))[1] == "3 of 3 set pieces may move"
    twins = routine_of("One", "One", "Two")
    assert arrange._may_move(twins, ("One",))[0] == {0, 1}
    with pytest.raises(UsageError, match="--free Four: no such set piece; there are One, Two"):
        arrange._may_move(THREE, ("Four",))


# -- rehearse


@pytest.mark.parametrize(("text", "part"), [("70%", 0.7), (" 2.5 % ", 0.025), ("4", 0.04)])
def test_per_cent_with_or_without_its_sign(text, part):
    assert PERCENT.convert(text, None, None) == pytest.approx(part)
    with pytest.raises(click.BadParameter, match="per cent such as 70% would do"):
        PERCENT.convert("much", None, None)


NOTHING = dict.fromkeys(("bias", "spread", "worst", "tempo", "wind"))


def test_limits_are_a_set_s_own_but_for_what_is_asked_for():
    """Tempo is asked for as a part and kept in per cent."""
    assert rehearse._limits({"limits": "beginner", **NOTHING}) == LEVELS["beginner"]
    asked = {"bias": 0.01, "spread": 0.02, "worst": 0.03, "tempo": 0.04, "wind": 0.0}
    assert rehearse._limits({"limits": "competitor", **asked}) == replace(
        LEVELS["competitor"], bias_beats=0.01, spread_beats=0.02, worst_beats=0.03,
        tempo_percent=4.0, wind_beats=0.0,
    )  # fmt: skip


def test_a_sender_is_called_by_its_map():
    assert rehearse._sender({"osc_map": "/maps/osc-turns.yaml"}) == "osc-turns"
    assert rehearse._sender({"osc_map": None}) == "default"


@pytest.mark.parametrize(
    ("in_memory", "waiting", "said"),
    [
        (2, 3, "2 takes are lost: the disk has no room for them.\n"),
        (0, 3, "3 takes wait in /j; the next `liveaid review` or `rehearse` puts them in.\n"),
        (0, 0, ""),
    ],
)
def test_what_became_of_takes_the_database_did_not_take(capsys, in_memory, waiting, said):
    journal = SimpleNamespace(folder="/j")
    rehearse._say_what_waits(SimpleNamespace(in_memory=in_memory, waiting=waiting, journal=journal))
    assert capsys.readouterr().err == said


def ladder(**more):
    known = {"tempo_bpm": 64.44, "pitch_percent": -7.96, "clean_run": 2, "held_up": False,
             "start_part": 0.7, "pitch_range_percent": 8.0, "part": 0.92}  # fmt: skip
    return SimpleNamespace(**(known | more))


def where(printed, *, plan=None, kept=True, piece="Two trams", **more):
    console, out = printed()
    aim = SimpleNamespace(piece=piece, delays=rehearse.NO_DELAYS, decks={}, decks_part=1.0)
    stage = SimpleNamespace(
        address="http://127.0.0.1:8080/", osc_address="127.0.0.1:9000",
        settings=SimpleNamespace(share=None),
    )  # fmt: skip
    session = SimpleNamespace(aim=aim, ladder=more.get("ladder"))
    rehearse._say_where(console, stage, session, "takes.sqlite", plan, kept=kept)
    return cells(out.getvalue())


def test_where_a_rehearsal_is_and_what_is_practised(printed):
    lines = where(printed)
    assert lines[:4] == [
        "Page http://127.0.0.1:8080/rehearse (clicks; start quiet)", "OSC in 127.0.0.1:9000",
        "Takes takes.sqlite", "Practise Two trams",
    ]  # fmt: skip
    assert len(lines) == 5
    replayed = where(printed, kept=False, piece="")
    assert replayed[2:4] == ["Takes not kept: a replay", "Practise the whole routine"]


def test_the_ladder_s_first_rung_and_why_it_is_no_lower(printed):
    assert where(printed, ladder=ladder())[-1] == "Tempo 64.4 BPM: pitch -8.0 %"
    assert where(printed, ladder=ladder(held_up=True))[-1] == (
        "70% is beyond the fader's 8 %, so the ladder starts at 92%; --slower-decks makes deck"
        " files for less"
    )


def test_the_turns_of_a_session(printed):
    turns = (SimpleNamespace(what="One", lasts_s=290.0, why="most to gain"),
             SimpleNamespace(what=None, lasts_s=300.0, why="rest"))  # fmt: skip
    lines = where(printed, plan=SimpleNamespace(turns=turns))
    assert lines[-2:] == ["One 5 min: most to gain", "break 5 min: rest"]


def test_a_take_is_told_with_the_rung_that_follows(printed):
    console, out = printed()
    score = SimpleNamespace(
        clean=True, verdict="clean", why=(), shift="", bias_ms=4.0, spread_ms=15.0, missed=0,
        added=0, advice={}, strokes={}, faders={},
    )  # fmt: skip
    take = SimpleNamespace(score=score, ended="complete", number=12)
    session = SimpleNamespace(ladder=ladder(), other_decks=None)
    rehearse._tell(console, take, session, as_json=False)
    told = out.getvalue().splitlines()
    assert told[0].startswith("#12 clean: 4 ms late")
    assert told[1:] == ["    next: 64.4 BPM, pitch -8.0 %, 2 clean in a row"]
    rehearse._tell(console, take, SimpleNamespace(ladder=None), as_json=False)
    assert len(out.getvalue().splitlines()) == 3


# -- review


def test_a_week_in_a_line(printed):
    console, out = printed()
    week = SimpleNamespace(
        monday="2026-03-02", takes=7, rate=SimpleNamespace(clean=2, takes=3), bias_ms=-12.0,
        spread_ms=18.4, tempo_part=0.92,
    )  # fmt: skip
    bare = replace_namespace(week, spread_ms=None, tempo_part=None)
    weeks = [SimpleNamespace(name="One", weeks=[week, bare], plateau="Nothing gained for 3 weeks.")]
    review._say_weeks(console, weeks)
    assert out.getvalue().splitlines() == [
        "One",
        "    2026-03-02    7 takes, 2 clean of 3 at full tempo, 12 ms early, spread 18 ms,"
        " clean at 92%",
        "    2026-03-02    7 takes, 2 clean of 3 at full tempo, 12 ms early, spread -",
        "    Nothing gained for 3 weeks.",
    ]


def replace_namespace(one, **changes):
    return SimpleNamespace(**(vars(one) | changes))


def test_an_act_of_a_recording_in_a_line():
    act = SimpleNamespace(beat=4.5, kind="push", side="left", error_ms=-25.0, outcome="hit")
    assert review._act_line(act) == "    beat   4.50  push    left   25 ms early"
    missed = replace_namespace(act, error_ms=None, outcome="missed")
    assert review._act_line(missed) == "    beat   4.50  push    left   missed"


def test_sets_of_takes_and_set_pieces(printed):
    console, out = printed()
    rate = SimpleNamespace(clean=3, takes=4, low=0.194, high=0.994)
    standing = SimpleNamespace(
        name="One", rate=rate, bias_ms=4.0, spread_ms=15.0, days_since=1.26, ready=True, takes=4
    )
    bare = replace_namespace(standing, name="Two", takes=0, days_since=None, ready=False,
                             spread_ms=None)  # fmt: skip
    console.print(review._pieces_table(SimpleNamespace(standings=[standing, bare])))
    told = cells(out.getvalue())
    assert "One 3 of 4 19% 99% 4 ms late 15 ms 1.3 yes" in told
    assert "Two 3 of 4 19% 99% never no" in told


def outlook(**more):
    known = {
        "standings": [], "order": [SimpleNamespace(name=f"P{n}", why="most to gain")
                                   for n in range(4)],
        "run_throughs": SimpleNamespace(clean=1, takes=4, low=0.05, high=0.7),
        "stage_ready": False, "missing": ("One: 3 more clean takes",),
    }  # fmt: skip
    return SimpleNamespace(**(known | more))


def reviewed(printed, **more):
    console, out = printed()
    known = {
        "outlook": outlook(), "takes": [], "spoiled": (), "notes": [], "plan": [],
        "today": SimpleNamespace(hands_on_s=1799.0, noise=None),
    }  # fmt: skip
    review._say(console, SimpleNamespace(**(known | more)), ["a.svg"])
    return cells(out.getvalue())


def test_a_review_ends_with_what_is_next_and_what_is_missing(printed):
    """Three to practise next; 1,799 s of hands are 29 whole minutes."""
    lines = reviewed(printed)
    assert [line for line in lines if "most to gain" in line] == [
        "1. P0: most to gain", "2. P1: most to gain", "3. P2: most to gain",
    ]  # fmt: skip
    assert "Run-throughs: 1 clean of 4 (5% to 70%)" in lines
    at = lines.index("Not stage ready yet, 1 in the way:")
    assert lines[at + 1] == "One: 3 more clean takes"
    assert lines[at + 2].startswith("Hands on today: 29 min. ")
    assert lines[-1] == "a.svg"
    assert not any(line.startswith("Spoiled") for line in lines)
    today = SimpleNamespace(hands_on_s=60.0, noise="Half of a day's noise.")
    ready = reviewed(printed, spoiled=(3, 5), outlook=outlook(stage_ready=True), today=today)
    assert "Spoiled in the file, and left out: take 3, 5." in ready
    assert "Stage ready." in ready
    assert "Half of a day's noise." in ready


def test_a_take_in_the_table(printed):
    score = SimpleNamespace(clean=False, verdict="late", bias_ms=31.0, spread_ms=None, missed=2,
                            added=1, strokes={"left": "pushes 20 ms late"}, faders={})  # fmt: skip
    bare = replace_namespace(score, strokes={}, clean=True, verdict="clean")
    takes = [
        (SimpleNamespace(id=9, at=0.0, aim="", tempo_part=0.92, ended="complete"), bare),
        (SimpleNamespace(id=8, at=0.0, aim="One", tempo_part=1.0, ended="abandoned"), score),
    ]
    lines = reviewed(printed, takes=takes)
    found = [line for line in lines if line.startswith(("9 ", "8 "))]
    assert found[0].split(" ", 3)[3] == "run-through 92% clean 31 ms late 2 1"
    assert found[1].split(" ", 3)[3] == "One 100% given up 31 ms late 2 1"
    assert "#8 pushes 20 ms late." in lines


def test_the_plan_and_at_most_five_notes(printed):
    console, out = printed()
    notes = [SimpleNamespace(at=0.0, text=f"note {n}") for n in range(6)]
    day = SimpleNamespace(day="2026-03-20", what=("One", "Two"), takes=8, why="the day before")
    review._say_plan(console, SimpleNamespace(notes=notes, plan=[day]))
    lines = out.getvalue().splitlines()
    assert [line.split("  ")[1] for line in lines[:-1]] == [f"note {n}" for n in range(5)]
    assert lines[-1] == "2026-03-20  One, Two: 8 takes (the day before)"
