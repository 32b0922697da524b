"""What stands in the tables of sounds and fits, and what is told below them, cell by cell."""

import io
import json
from dataclasses import replace
from types import SimpleNamespace

import pytest
from rich.console import Console

from liveaid.commands import fit_report, gather_report
from liveaid.commands.shelf_tables import (
    alike_table,
    brief_table,
    fit_reasons,
    fit_table,
    sound_table,
)
from liveaid.fit.brief import Brief, Wanted
from liveaid.fit.costs import Cost
from liveaid.fit.fit import Fit
from liveaid.fit.meeting import meet
from liveaid.routine.model import Sketch, Turntable, Want
from liveaid.shelf.alike import COPY_WITHIN
from liveaid.shelf.folder import Trouble
from liveaid.shelf.shelf_sound import Marks, ShelfSound
from liveaid.study.facts import Study
from liveaid.terminal import HarmlessConsole

FACTS = {
    "duration_s": 62.0, "sample_rate_hz": 44100, "channels": 2, "format": "WAV",
    "frames_declared": 1, "frames_read": 1, "tempo": 92.0, "tempo_confidence": 0.9,
    "key": "A minor", "key_confidence": 0.9, "kind": "a cappella", "kind_confidence": 0.9,
    "energy": 3, "loudness_lufs": -12.04, "phrases_s": ((0.0, 5.0), (6.0, 11.0)),
}  # fmt: skip


def sound(name="tram", *, gone=False, tags=(), licence="", **facts):
    return ShelfSound(
        hash=name, path=f"/s/{name}.wav", gone=gone, study=Study(**(FACTS | facts)),
        marks=Marks(tags=frozenset(tags), licence=licence),
    )  # fmt: skip


def lines(table, width):
    """The cells of each line, head first; two spaces or more part them."""
    out = io.StringIO()
    Console(file=out, width=width).print(table)
    cells = [" ".join(line.split()) for line in out.getvalue().splitlines()]
    return [line for line in cells if line and not set(line) <= set("─━ ")]


def test_a_sound_in_a_wide_table_and_in_a_narrow_one():
    """62 s are 1:02.0; from 100 columns on its phrases and tags stand there too."""
    wide = lines(sound_table([sound(tags=("wet", "rain"))], width=100), 100)
    assert wide[0] == "sound tempo key kind energy LUFS length phrases tags"
    assert wide[1] == "tram 92.00 A minor a cappella 3 -12.0 1:02.0 2 rain, wet"
    narrow = lines(sound_table([sound(tags=("wet",))], width=99), 99)
    assert narrow[0] == "sound tempo key kind energy LUFS length"
    assert narrow[1] == "tram 92.00 A minor a cappella 3 -12.0 1:02.0"


@pytest.mark.parametrize(
    ("facts", "line"),
    [
        ({"tempo_confidence": 0.49}, "tram 92.00? A minor a cappella 3 -12.0 1:02.0"),
        ({"tempo_confidence": 0.5}, "tram 92.00 A minor a cappella 3 -12.0 1:02.0"),
        ({"key_confidence": 0.3}, "tram 92.00 A minor? a cappella 3 -12.0 1:02.0"),
        ({"kind_confidence": 0.3}, "tram 92.00 A minor a cappella? 3 -12.0 1:02.0"),
        ({"tempo": None, "tempo_confidence": 0.0}, "tram - A minor a cappella 3 -12.0 1:02.0"),
        ({"key": None, "key_confidence": 0.0}, "tram 92.00 - a cappella 3 -12.0 1:02.0"),
        ({"loudness_lufs": None}, "tram 92.00 A minor a cappella 3 - 1:02.0"),
    ],
)
def test_what_is_a_guess_has_a_question_mark_and_what_is_not_known_a_dash(facts, line):
    assert lines(sound_table([sound(**facts)], width=80), 80)[1] == line


def test_a_sound_whose_file_is_gone_says_so():
    assert lines(sound_table([sound(gone=True)], width=80), 80)[1].startswith("tram (gone) 92.00")


def test_what_sounds_alike_with_how_unlike_and_whether_it_is_a_copy():
    found = [(SimpleNamespace(distance=0.04, copy=True), sound()),
             (SimpleNamespace(distance=1.26, copy=False), sound("bell"))]  # fmt: skip
    wide = lines(alike_table(found, width=100), 100)
    assert wide == [
        "unlike sound kind tempo key energy LUFS length",
        "0.0 tram (a copy?) a cappella 92.00 A minor 3 -12.0 1:02.0",
        "1.3 bell a cappella 92.00 A minor 3 -12.0 1:02.0",
    ]
    narrow = lines(alike_table(found, width=99), 99)
    assert narrow[0] == "unlike sound kind tempo length"
    assert narrow[2] == "1.3 bell a cappella 92.00 1:02.0"


def test_numbers_are_set_to_the_right_and_only_prose_goes_over_a_line():
    """So that digits stand under digits; a name is cut, not broken, and keeps some of its room."""
    want = Want.model_validate({"part": "intro"})
    asked = Brief((Wanted(want, (), (), None),), (), 0.0, ())
    tables = (
        (sound_table([sound()], width=100), "tempo energy LUFS length phrases", "phrases"),
        (alike_table([], width=100), "unlike tempo energy LUFS length", "unlike"),
        (fit_table(sound().study, [], {}, width=100), "score pitch LU energy phrases",
         "score energy"),
        (brief_table(asked, NAMES, Turntable()), "", "wanted|on the shelf"),
    )  # fmt: skip
    for table, right, breaks in tables:
        heads = [str(column.header) for column in table.columns]
        assert [h for h, c in zip(heads, table.columns, strict=True) if c.justify == "right"] == (
            right.split()
        )
        over = [h for h, c in zip(heads, table.columns, strict=True) if not c.no_wrap]
        assert over == (breaks.split("|") if "|" in breaks else breaks.split())
        assert not table.show_edge
        assert table.expand
    assert sound_table([], width=80).columns[0].min_width == 16
    assert alike_table([], width=80).columns[1].min_width == 16
    assert fit_table(sound().study, [], {}, width=80).columns[1].min_width == 14


def test_many_tags_are_cut_at_24_letters():
    line = lines(sound_table([sound(tags=("a" * 30,))], width=160), 160)[1]
    assert line.endswith(" 2 " + "a" * 23 + "…")


def fit(other="tram", **more):
    known = {
        "other": other, "score": 87.6, "costs": (Cost("energy", 0.1, 0.5),),
        "meeting": meet(92.0, 96.0, range_percent=8.0),
        "why_cued": "", "keys": None, "keys_locked": None, "loudness_lu": 1.26,
        "gain_peak_dbtp": None, "energy_steps": 1, "length_bars": None, "phrases_bars": (2.0, 4.0),
        "bar_turns": None, "hit": False, "pickup_beats": 0.0,
    }  # fmt: skip
    return Fit(**(known | more))


def test_a_fit_in_a_wide_table_and_in_a_narrow_one():
    """96 to 92 BPM is -4.17 % on the other's deck; 87.6 is told as 88; two phrases of 3 bars."""
    mine, sounds = sound("stall").study, {"tram": sound()}
    wide = lines(fit_table(mine, [fit()], sounds, width=100), 100)
    assert wide[0] == "score sound kind pitch beats keys heard in LU energy phrases"
    assert wide[1] == "88 tram a cappella -4.17 % same no key - +1.3 +1 2 x 3.0"
    narrow = lines(fit_table(mine, [fit()], sounds, width=99), 99)
    assert narrow[0] == "score sound pitch beats keys LU energy"
    assert narrow[1] == "88 tram -4.17 % same no key +1.3 +1"
    plain = fit(meeting=None, loudness_lu=None, energy_steps=0, phrases_bars=())
    gone = {"tram": sound(gone=True)}
    assert lines(fit_table(mine, [plain], gone, width=80), 80)[1] == (
        "88 tram (gone) by hand - no key - ="
    )


def keys_of(confidence, other):
    """A fit in one key, and how sure the two are of theirs."""
    keys = SimpleNamespace(beside="A minor", cents_off=0.0, relation="same key")
    mine = sound("stall", key_confidence=confidence).study
    table = fit_table(mine, [fit(keys=keys)], {"tram": sound(key_confidence=other)}, width=120)
    return lines(table, 120)[1]


def test_two_keys_together_are_as_sure_as_their_product():
    """.7 times .7 is .49, a guess; .8 times .7 is .56."""
    assert "same key? A minor" in keys_of(0.7, 0.7)
    assert "same key A minor" in keys_of(0.8, 0.7)


def test_where_a_score_comes_from():
    """A cost takes its share of its weight; below a twentieth of a point it takes nothing."""
    costs = (Cost("loudness", 0.2, 0.5), Cost("energy", 0.1, 0.0049), Cost("pitch", 0.3, 0.002))
    table = fit_reasons(sound("stall").study, fit(costs=costs), sound(), Turntable())
    said = lines(table, 120)
    assert said[0] == "88 tram"
    assert said[1].startswith("-10.0 of 20 loudness ")
    assert said[2].startswith("0 energy ")
    assert said[3].startswith("-0.1 of 30 pitch ")
    half = fit_reasons(
        sound("stall").study, fit(costs=(Cost("pitch", 0.2, 0.0025),)), sound(), Turntable()
    )  # a twentieth of a point is told
    assert lines(half, 120)[1].startswith("-0.1 of 20 pitch ")


def printed(table, width):
    """The lines as they stand, but for spaces at their ends."""
    out = io.StringIO()
    Console(file=out, width=width).print(table)
    return [line.rstrip() for line in out.getvalue().splitlines()]


def test_tables_keep_their_columns_and_only_the_last_goes_over_a_line():
    """Reasons have two spaces between, the first to the right; a table of sounds fills its width:
    70 columns of a rule."""
    costs = (Cost("loudness", 0.2, 0.5), Cost("energy", 0.1, 0.0049))
    reasons = fit_reasons(sound("stall").study, fit(costs=costs), sound(), Turntable())
    assert printed(reasons, 44) == [
        "         88            tram",
        "-10.0 of 20  loudness  +1.3 LU; the other's",
        "                       gain -1.3 dB",
        "          0  energy    from 3 to 3 of 5",
    ]
    assert reasons.expand
    assert [column.no_wrap for column in reasons.columns] == [True, True, False]
    assert printed(sound_table([sound()], width=70), 70) == [
        "sound                tempo  key      kind        energy   LUFS  length",
        "─" * 70,
        "tram                 92.00  A minor  a cappella       3  -12.0  1:02.0",
    ]


NAMES = {"a": "tram", "b": "bell", "c": "horn", "d": "wok"}


@pytest.mark.parametrize(
    ("ready", "near", "chosen", "said"),
    [
        ("a", (), "a", "tram"),
        ("abc", (), "b", "bell and 2 more"),
        ("abcd", (), None, "LACKS one more: tram, bell, horn is wanted elsewhere too"),
        ("", (("a", "energy 2"), ("b", "60 BPM")), None,
         "LACKS nearest: tram energy 2; bell 60 BPM"),
        ("", tuple((name, "x") for name in "abcd"), None,
         "LACKS nearest: tram x; bell x; horn x"),
        ("", (), None, "LACKS nothing near"),
    ],
)  # fmt: skip
def test_what_the_shelf_has_for_a_want(ready, near, chosen, said):
    want = Want.model_validate({"part": "intro", "energy": 2})
    found = Brief((Wanted(want, tuple(ready), near, chosen),), (), 0.0, ())
    table = lines(brief_table(found, NAMES, Turntable()), 200)
    assert table[0] == "part wanted on the shelf"
    assert table[1] == f"1 intro any kind, energy 2 {said}"


@pytest.fixture
def screen(monkeypatch):
    """screen(width): what the reports print from now on, on a terminal so wide."""

    def of(width=200):
        out = io.StringIO()
        console = HarmlessConsole(file=out)
        console.width = width
        for module in (fit_report, gather_report):
            monkeypatch.setattr(module, "console", lambda: console)
        return out

    return of


MINE = fit_report.Mine("stall", "/s/stall.wav", sound("stall").study, None)
NONE = fit_report.Lists([], [])


def test_what_is_fitted_is_told_in_a_line(screen):
    out = screen()
    fit_report.show(MINE, NONE, {}, Turntable(), why=False)
    bare = replace(MINE, study=sound(tempo=None, key=None).study)
    fit_report.show(bare, NONE, {}, Turntable(), why=True)
    assert out.getvalue().splitlines() == [
        "stall: a cappella, 92.00 BPM, A minor, energy 3; pitch ±8 %",
        "Nothing on the shelf goes with it.",
        "stall: a cappella, no tempo, no key, energy 3; pitch ±8 %",
        "Nothing on the shelf goes with it.",
    ]


def test_the_best_three_are_told_in_a_sentence_and_hits_apart(screen):
    sounds = {name: sound(name) for name in ("tram", "bell", "horn", "wok", "hey")}
    whole = [fit(name) for name in ("tram", "bell", "horn", "wok")]
    for lists, width, legend in (
        (fit_report.Lists(whole, []), 100, "phrases: how many x bars"),
        (fit_report.Lists([], [fit("hey")]), 99, "two pitches"),
        (fit_report.Lists(whole, [fit("hey")]), 99, "two pitches"),
    ):
        out = screen(width)
        fit_report.show(MINE, lists, sounds, Turntable(), why=False)
        said = out.getvalue()
        told = [line.split(":")[0] for line in said.splitlines() if ": " in line]
        assert [name for name in told if name in sounds] == [each.other for each in lists.whole[:3]]
        assert ("Hits, to be struck or thrown in:" in said) is bool(lists.hits)
        assert legend in said
        assert ("phrases: how many" in said) is (width == 100)
        assert "--why explains every number." in said


def test_why_goes_through_hits_too(screen):
    out = screen()
    sounds = {name: sound(name) for name in ("tram", "hey")}
    fit_report.show(MINE, fit_report.Lists([fit("tram")], [fit("hey")]), sounds, Turntable(),
                    why=True)  # fmt: skip
    told = [line.split() for line in out.getvalue().splitlines()[1:]]
    assert [line for line in told if line[:1] == ["88"]] == [["88", "tram"], ["88", "hey"]]


@pytest.mark.parametrize(
    ("fitting", "beyond", "said"),
    [
        (12, fit_report.Beyond(0), ["2 more fit less well: --top 12 shows them."]),
        (10, fit_report.Beyond(0), []),
        (3, fit_report.Beyond(1, "wok", 9.26),
         ["1 lies out of reach of ±8 % on both decks; nearest: wok, with --range 9.3."]),
        (3, fit_report.Beyond(2, "wok", 9.26),
         ["2 lie out of reach of ±8 % on both decks; nearest: wok, with --range 9.3."]),
    ],
)  # fmt: skip
def test_how_many_more_there_are(screen, fitting, beyond, said):
    out = screen()
    fit_report.show_rest(fitting, 10, beyond, Turntable())
    assert out.getvalue().splitlines() == said


def test_a_fit_as_plain_data():
    keys = SimpleNamespace(beside="A minor", cents_off=12.0, relation="same key")
    given = fit(keys=keys, costs=(Cost("energy", 0.1, 0.5),), pickup_beats=0.5)
    found = fit_report.report(
        MINE, fit_report.Lists([given], [fit("tram", meeting=None, why_cued="no tempo")]),
        {"tram": sound()}, fit_report.Beyond(1, "wok", 9.0), Turntable(),
    )  # fmt: skip
    assert (found["sound"], found["tempo"], found["rpm"]) == ("stall", 92.0, 100 / 3)
    assert found["out_of_reach"] == {"count": 1, "nearest": "wok", "needs_percent": 9.0}
    (one,), (hit,) = found["fits"], found["hits"]
    assert (one["score"], one["beat_matched"], one["heard_in"]) == (87.6, True, "A minor +12 ct")
    assert (one["relation"], one["cents_off"]) == ("same key", 12.0)
    assert (one["relation_key_locked"], one["cents_off_key_locked"]) == (None, None)
    assert one["costs"][0]["points"] == pytest.approx(5.0)
    # 92 / 96: 12 times log2 of it is -.737 semitones.
    assert one["meeting"]["shift_semitones"] == pytest.approx(-0.737, abs=1e-3)
    assert (hit["beat_matched"], hit["meeting"], hit["why_cued"]) == (False, None, "no tempo")
    assert (hit["relation"], hit["heard_in"]) == (None, None)


# -- what gathering tells


class Bar:
    """A progress bar that notes what it is told."""

    def __init__(self):
        self.did, self.out = [], io.StringIO()
        self.console = Console(file=self.out, width=40)

    def update(self, task, **told):
        self.did.append(told)

    def advance(self, task, by=1):
        self.did.append(by)


def test_a_gathering_is_counted(monkeypatch, tmp_path, capsys):
    now = [100.0]
    monkeypatch.setattr(gather_report.time, "monotonic", lambda: now[0])
    tally, bar = gather_report.GatherTally(tmp_path / "shelf.sqlite"), Bar()
    faulty = sound(faults=("cut short at 3.0 s of 9.0 s, as it was written down",)).study
    for event in (
        gather_report.Counted(7), gather_report.Done("/s/a.wav", "studied", sound().study),
        gather_report.Done("/s/b.wav", "studied", faulty),
        gather_report.Done("/s/c.wav", "same", None),
        gather_report.Done("/s/d.jpg", "passed", None),
        Trouble("/s/e.wav", "no sound that can be read, however it is looked at"),
        gather_report.Gone("/s/f.wav"),
    ):  # fmt: skip
        tally.take(event, bar, 0)
    assert bar.did == [{"description": "studying", "total": 7, "completed": 0}, 1, 1, 1, 0, 1]
    assert bar.out.getvalue().splitlines() == [
        "/s/b.wav: studied, but cut short at 3.0 s of 9.0 s, as it was written down",
        "/s/e.wav: no sound that can be read, however it is looked at",
    ]
    assert tally.stopped() == "2 studied and kept; the same command again does the rest."
    now[0] = 165.4
    tally.show(9, as_json=False)
    assert capsys.readouterr().out.splitlines() == [
        "/s/d.jpg: passed over", "     2 studied", "     1 of them with faults",
        "     1 could not be studied", "     1 unchanged",
        "     1 passed over: no sounds, by their names", "     1 gone; their studies are kept",
        f"     9 sounds on {tmp_path}/shelf.sqlite, after 1:05",
    ]  # fmt: skip


@pytest.mark.parametrize(("passed", "told"), [(20, 20), (21, 20)])
def test_of_files_passed_over_twenty_are_named(tmp_path, capsys, passed, told):
    tally, bar = gather_report.GatherTally(tmp_path / "shelf.sqlite"), Bar()
    for number in range(passed):
        tally.take(gather_report.Done(f"/s/{number}.jpg", "passed", None), bar, 0)
    tally.show(0, as_json=False)
    assert sum(": passed over" in line for line in capsys.readouterr().out.splitlines()) == told


def test_how_many_were_found(screen):
    untold = replace(sound("text"), study=None, fault="holds text, no sound")
    for sounds, of, said in (
        ([], 0, "No sound on the shelf is like that."),
        ([sound()], 1, "1 found; ? marks what is a guess (confidence below 0.5)."),
        ([sound()], 1200, "1,200 found, the first 1 shown (--top 1200 shows all); ? marks what is"
                          " a guess (confidence below 0.5)."),
        ([untold], 1, "1 found."),
    ):  # fmt: skip
        out = screen()
        gather_report.show_found(sounds, of, as_json=False)
        assert out.getvalue().splitlines()[-1] == said
        assert ("/s/text.wav: holds text, no sound" in out.getvalue()) is (sounds == [untold])
    narrow = screen(12)
    gather_report.show_found([untold], 1, as_json=False)
    assert narrow.getvalue().startswith("/s/text.wav: holds text, no sound\n")


def brief_of(screen, ready, *, gaps=(), planned_s=0.0, echoes=(), limit="6:00", chosen="a"):
    want = Want.model_validate({"part": "intro", "energy": 2})
    here = {name: sound(NAMES[name], licence="CC0" if name == "d" else "") for name in "abcd"}
    sketch = Sketch.model_validate(
        {"title": "T", "limit": limit, "idea": {"theme": "rain", "wants": [{"part": "intro"}]}}
    )
    out = screen()
    found = Brief((Wanted(want, tuple(ready), (), chosen),), gaps, planned_s, echoes)
    gather_report.show_brief(sketch, found, here)
    return out.getvalue().splitlines()


def test_what_is_remarked_below_an_idea(screen):
    """Names in the order of the alphabet, three of them; the fourth has a licence."""
    said = brief_of(screen, "abcd", gaps=((0, 1),), planned_s=125.0, echoes=(("rain", 2),))
    assert said[0] == "theme: rain"
    assert said[-5:] == [
        "From 1 to 2: no two of their sounds come to one beat within ±8 %.",
        "Wants with bars and tempo fill 2:05 of 6:00.",
        "Words of the idea found in names, tags and notes: rain (2).",
        "No licence is noted for 3 of these sounds (bell, horn, tram). Whether a sound may be used"
        " is a matter for a licensed professional.",
        "All 1 wants have a sound.",
    ]
    assert brief_of(screen, "d", chosen="d")[-1] == "All 1 wants have a sound."
    bare = brief_of(screen, "d", chosen=None, planned_s=10.0, limit=None)
    assert bare[-1] == "1 of 1 wants lack a sound."
    assert not any("licence" in line or "fill" in line for line in bare)


def test_an_idea_as_plain_data():
    want = Want.model_validate({"part": "intro", "energy": 2})
    found = Brief((Wanted(want, ("a",), (("b", "energy 2"),), "a"),), ((0, 1),), 9.0, (("x", 2),))
    told = gather_report.brief_json(found, {name: sound(NAMES[name]) for name in "ab"}, Turntable())
    assert told == {
        "wants": [{"part": "intro", "sought": "any kind, energy 2", "lacks": False,
                   "chosen": "tram", "ready": ["tram"],
                   "near": [{"name": "bell", "misses": "energy 2"}]}],
        "gaps": [[1, 2]], "planned_s": 9.0, "echoes": {"x": 2},
    }  # fmt: skip
    lacking = replace(found, wants=(replace(found.wants[0], chosen=None),))
    told = gather_report.brief_json(lacking, {name: sound(NAMES[name]) for name in "ab"},
                                    Turntable())["wants"][0]  # fmt: skip
    assert (told["lacks"], told["chosen"]) == (True, None)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (9999.96, "10000"), (10000.5, "10000"), (100001.7, "100002"), (-100001.7, "-100002"),
        (12345.678, "12346"), (-0.123456, "-0.12346"), (92.0, "92"),
        ((0.5, 2.25), "0.50 to 2.25"), ((1, 2), "1, 2"), (-12345.6, "-12346"),
    ],
)  # fmt: skip
def test_a_fact_as_it_is_told(monkeypatch, capsys, value, said):
    """Five digits, or whole from ten thousand on; two seconds are a stretch."""
    monkeypatch.setattr(gather_report, "_show_breaks", lambda _: None)
    known = SimpleNamespace(as_json=lambda: {"study": {"tempo_drift": value}})
    gather_report.show_facts(known, as_json=False)
    assert capsys.readouterr().out == f"tempo drift          {said}\n"


def test_what_sounds_alike_is_told_with_what_its_numbers_mean(screen, capsys):
    """`COPY_WITHIN` is the distance that the legend names."""
    untold = replace(sound("text"), study=None)
    found = [
        (SimpleNamespace(distance=0.04567, copy=True), sound()),
        (SimpleNamespace(distance=1.0, copy=False), untold),
    ]
    out = screen(80)
    gather_report.show_alike(found, as_json=False)
    head, _, one, *legend = [" ".join(line.split()) for line in out.getvalue().splitlines()]
    assert head.startswith("unlike sound")
    assert one == "0.0 tram (a copy?) a cappella 92.00 1:02.0"
    assert " ".join(legend) == (
        f"unlike: 0 is the same recording, {COPY_WITHIN:g} and less likely a copy of it, about 2 a"
        " sound of its kind."
    )
    out = screen(80)
    gather_report.show_alike([], as_json=False)
    assert out.getvalue() == (
        "No sound on the shelf to hold against it; gather its folder once more?\n"
    )
    gather_report.show_alike(found[:1], as_json=True)
    (told,) = json.loads(capsys.readouterr().out)
    assert (told["name"], told["distance"], told["copy"]) == ("tram", 0.046, True)


def test_breaks_are_told_as_the_section_map_has_them(capsys, monkeypatch):
    """Four bars of four beats at 92 BPM: 10.435 s."""
    whole, part = sound(), SimpleNamespace(
        part=("break", 12.3456, 22.7804), path="/s/tram.wav",
        study=SimpleNamespace(sections=((0.0, 10.4348, "drums", 4.0),)),
    )  # fmt: skip
    monkeypatch.setattr(gather_report, "open_breaks", lambda _: [part])
    wanted = [
        "open breaks, ready for `sounds:` in the section map:",
        "  tram:",
        "    parts:",
        "      break: {from: 12.346, to: 22.780}",
    ]
    gather_report._show_breaks(whole)
    assert capsys.readouterr().out.splitlines() == [*wanted[:-1], f"{wanted[-1]}  # 4 bars"]
    part.study = None
    monkeypatch.setattr(gather_report, "open_breaks", lambda _: [])
    gather_report._show_breaks(part)  # the one that is meant
    assert capsys.readouterr().out.splitlines() == wanted
    gather_report._show_breaks(whole)
    assert capsys.readouterr().out == ""


def test_how_else_a_tempo_may_be_counted_is_told_of_a_sound_on_the_shelf(screen):
    study = sound("stall", tempo_alternative=46.0, tempo_rival=138.00014).study
    mark = "liveaid gather --mark /s/stall.wav --tempo"
    said = (
        f"It may be counted as 46.00 BPM: `{mark} other` does.\n"
        f"It may be counted as 138.00 BPM: `{mark} 138.0001` does.\n"
    )
    for mine, told in (
        (fit_report.Mine("stall", "/s/stall.wav", study, "hash"), True),
        (fit_report.Mine("stall", "/s/stall.wav", study, None), False),
        (fit_report.Mine("stall", "/s/stall.wav", sound("stall").study, "hash"), False),
    ):
        out = screen(200)
        fit_report.show(mine, NONE, {}, Turntable(), why=False)
        assert (said in out.getvalue()) is told


def test_a_fit_with_its_key_held_is_told_with_what_that_gives():
    locked = SimpleNamespace(relation="a fifth apart", cents_off=3.0)
    told = fit_report._fit_json(
        MINE.study, fit(score=87.654, keys_locked=locked), sound(), Turntable()
    )
    assert (told["relation_key_locked"], told["cents_off_key_locked"]) == ("a fifth apart", 3.0)
    assert told["score"] == 87.65
