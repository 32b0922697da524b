"""What `simulate` plays for its options, and its line; how `draft` names and remarks sounds."""

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from liveaid.commands import draft, simulate
from liveaid.errors import LiveaidError
from liveaid.routine import Routine
from liveaid.shelf.shelf_sound import Marks, ShelfSound
from liveaid.simulate import PERSON, Fault, Hands
from liveaid.study.facts import Study

ROUTINE = Routine.model_validate({"title": "Market", "pieces": [
    {"name": name, "bars": 1, "tempo": 100, "count": "clock"} for name in ("One", "Two")
]})  # fmt: skip


@pytest.fixture
def played(monkeypatch):
    """played(words): how `liveaid simulate SCENE` with them has the routine performed."""

    class Asked(Exception):
        pass

    def of(*words):
        told = {}

        def perform(routine, **how):
            told.update(how)
            raise Asked

        found = SimpleNamespace(playable=lambda: ROUTINE, playable_file=Path("x"))
        monkeypatch.setattr(simulate, "perform", perform)
        monkeypatch.setattr(simulate, "opened_to_play", lambda scene: found)
        monkeypatch.setattr(simulate, "say_state", lambda found: None)
        result = CliRunner().invoke(simulate.command, ["scene", *words])
        return told if isinstance(result.exception, Asked) else result.output

    return of


def test_what_is_played_when_nothing_is_said(played):
    told = played()
    assert (told["faults"], told["start_piece"], told["hands"]) == ([], 0, Hands())
    network = told["network"]
    assert (network.rate_hz, network.sends, network.jitter_s) == (200.0, "always", 0.001)
    assert (network.loss, network.duplicates, network.reorder, network.off_centre_mm) == (0,) * 4
    assert (network.left_delay_s, network.right_delay_s) == (0.0, 0.0)


def test_what_is_asked_of_the_sender_and_the_network(played):
    told = played(
        "--rate", "50", "--on-change", "--jitter", "4", "--loss", "0.1", "--duplicates", "0.2",
        "--reorder", "0.3", "--delay-left", "20", "--delay-right", "30", "--off-centre", "0.4",
        "--from-piece", "2", "--fault", "skip", "--fault", "repeat", "--seed", "7",
    )  # fmt: skip
    network = told["network"]
    assert (network.rate_hz, network.sends, network.jitter_s) == (50.0, "on_change", 0.004)
    assert (network.loss, network.duplicates, network.reorder) == (0.1, 0.2, 0.3)
    assert (network.left_delay_s, network.right_delay_s) == (0.02, 0.03)
    assert network.off_centre_mm == 0.4
    assert (told["start_piece"], told["seed"]) == (1, 7)
    assert told["faults"] == [Fault(kind="skip"), Fault(kind="repeat")]


@pytest.mark.parametrize(
    ("words", "hands"),
    [
        (("--timing-error", "30"), Hands(timing_error_s=0.03, stroke_error_s=0.03)),
        (("--timing-bias", "-15"), Hands(timing_bias_s=-0.015, stroke_bias_s=-0.015)),
        (("--misses", "0.25"), Hands(miss_rate=0.25)),
        (("--person",), PERSON),
        (("--person", "--misses", "0.5"), replace(PERSON, miss_rate=0.5)),
        (("--person", "--timing-error", "0"),
         replace(PERSON, timing_error_s=0.0, stroke_error_s=0.0)),
    ],
)  # fmt: skip
def test_whose_hands_play(played, words, hands):
    assert played(*words)["hands"] == hands


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--from-piece", "3"), "--from-piece 3: Market has 2 set pieces"),
        (("--from-piece", "0"), "--from-piece"), (("--rate", "0.5"), "--rate"),
        (("--rate", "2001"), "--rate"), (("--loss", "1.1"), "--loss"), (("--misses", "2"),
                                                                       "--misses"),
        (("--off-centre", "5.1"), "--off-centre"), (("--speed-up", "0.001"), "--speed-up"),
        (("--timing-bias", "-1001"), "--timing-bias"), (("--jitter", "-1"), "--jitter"),
    ],
)  # fmt: skip
def test_what_no_performance_can_be_is_refused(played, words, said):
    assert said in played(*words)


REPORT = {
    "title": "Market", "seed": 7, "datagrams": 1200, "to": "127.0.0.1:9000", "seconds": 65.4,
    "stopped": False, "faults": [], "refused": 0, "failed": 0, "record": None,
}  # fmt: skip


def test_what_was_sent_in_one_line():
    plain = "Market, seed 7; 1200 datagrams to 127.0.0.1:9000; 1:05 played."
    assert simulate._line(REPORT) == plain
    faults = [{"kind": "skip", "at_s": 59.6}]
    assert simulate._line(
        REPORT | {"stopped": True, "faults": faults, "refused": 1, "failed": 2, "record": "t.json"}
    ) == (
        f"Stopped: {plain[:-1]}; skip at 1:00; nobody seems to listen there, at least not all the"
        " time; 2 could not be sent; truth in t.json."
    )


def test_a_simulation_as_plain_data():
    fault = SimpleNamespace(fault=Fault(kind="skip", piece=1), at_s=1.23456, until_s=2.34567)
    performance = SimpleNamespace(routine=ROUTINE, seed=7, faults=[fault])
    sender = SimpleNamespace(reached_s=9.87654, sent=3, refused=1, failed=2, latest_s=0.0123456)
    told = simulate._report(
        SimpleNamespace(to_json=dict), performance, sender, "a:1", True, Path("t.json")
    )
    assert told == {
        "title": "Market", "map": {}, "seed": 7, "to": "a:1", "stopped": True, "seconds": 9.877,
        "datagrams": 3, "refused": 1, "failed": 2, "latest_ms": 12.346, "record": "t.json",
        "faults": [{"kind": "skip", "piece": 1, "at_s": 1.235, "until_s": 2.346}],
    }  # fmt: skip


class Sender:
    """A sender whose clock goes on by what is told, and that may be stopped by hand."""

    made = None

    def __init__(self, performance, host, port, **how):
        Sender.made = (host, port, how)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass


@pytest.fixture
def run(monkeypatch, tmp_path):
    """run(**options): the status, what was sent and written and how, and what was said."""

    def of(stopped=False, **options):
        said, written = [], []
        found = SimpleNamespace(playable_file=tmp_path / "routine.yaml", playable=lambda: ROUTINE)
        monkeypatch.setattr(simulate, "opened_to_play", lambda scene: found)
        monkeypatch.setattr(simulate, "say_state", lambda found: None)
        monkeypatch.setattr(simulate, "_performance", lambda routine, options: "performance")
        monkeypatch.setattr(simulate, "Sender", Sender)
        monkeypatch.setattr(simulate, "_send", lambda sender, performance: stopped)
        monkeypatch.setattr(simulate, "_report", lambda *told: {"stopped": told[4]})
        monkeypatch.setattr(simulate, "_line", lambda report: "sent")
        monkeypatch.setattr(simulate, "_write", lambda file, *told: written.append((file, *told)))
        monkeypatch.setattr(simulate, "_play_back", lambda *told, **_: said.append(told) or 0)
        monkeypatch.setattr(simulate, "print_json", said.append)
        monkeypatch.setattr(simulate, "console", lambda: SimpleNamespace(say=said.append))
        monkeypatch.setattr(simulate.time, "monotonic", lambda: 50.0)
        asked = {"trace": None, "mixer": True, "speeds": False, "speed_up": 2.0} | options
        status = simulate.command.callback(
            "market", osc="127.0.0.1:9000", record=asked.pop("record", None),
            as_json=asked.pop("as_json", False), **asked,
        )  # fmt: skip
        return status, Sender.made, written, said

    return of


def test_a_performance_begins_a_tenth_of_a_second_from_now(run):
    status, made, written, said = run()
    how = {"begin_s": 50.1, "speed": 2.0, "also": ("mixer",)}
    assert (status, made, written, said) == (0, ("127.0.0.1", 9000, how), [], ["sent"])
    assert run(speeds=True)[1][2]["also"] == ("mixer", "speed")
    assert run(mixer=False)[1][2]["also"] == ()
    assert run(record="t.json")[2] == [("t.json", "performance", 50.1, 2.0)]
    assert run(as_json=True)[3] == [{"stopped": False}]
    assert run(stopped=True)[0] == 130
    status, _, _, ((trace, file, address),) = run(trace="7")
    assert (status, trace, file.name, str(address)) == (0, "7", "routine.yaml", "127.0.0.1:9000")


def test_the_bar_goes_on_twice_a_second_and_ctrl_c_stops(monkeypatch):
    """At 1.0 s nothing is played; a look less than half a second after the last is passed over."""
    told = []

    class Bar:
        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

        def add_task(self, name, total):
            told.append(total)

        def update(self, task, **how):
            told.append((how["completed"], how["description"]))

    monkeypatch.setattr(simulate, "progress_bar", Bar)
    performance = SimpleNamespace(
        duration_s=9.9, routine=SimpleNamespace(pieces=[SimpleNamespace(name="In")]),
        truth=SimpleNamespace(at=lambda now_s: None if now_s == 1.0 else (0, 0.0)),
    )  # fmt: skip
    looks = (0.0, 0.25, 0.5, 0.75, 1.0, 2.25)
    monkeypatch.setattr(simulate, "send_now", lambda sender: iter(looks))
    assert simulate._send(None, performance) is False
    assert told == [9, (0, "In"), (0, "In"), (1, "-"), (2, "In")]

    def stopped(sender):
        yield 0.0
        raise KeyboardInterrupt

    monkeypatch.setattr(simulate, "send_now", stopped)
    assert simulate._send(None, performance) is True


def test_what_was_truly_played_is_written_with_when_it_began(monkeypatch, tmp_path):
    monkeypatch.setattr(simulate, "truth_record", lambda performance: {"pieces": []})
    simulate._write(tmp_path / "t.json", None, 50.1, 2.0)
    assert json.loads((tmp_path / "t.json").read_text()) == {
        "pieces": [], "begin_monotonic_s": 50.1, "speed_up": 2.0,
    }  # fmt: skip
    with pytest.raises(LiveaidError, match=r"t\.json: cannot be written \(.+\); a file in a"):
        simulate._write(tmp_path / "none" / "t.json", None, 50.1, 2.0)


# -- draft


FACTS = {
    "duration_s": 62.04, "sample_rate_hz": 44100, "channels": 2, "format": "WAV",
    "frames_declared": 1, "frames_read": 1, "tempo": 92.04, "key": "A minor", "energy": 3,
}  # fmt: skip


def sound(name, *, licence="", path=None, **facts):
    return ShelfSound(hash=name, path=path or f"/s/{name}.wav", gone=False,
                      study=Study(**(FACTS | facts)), marks=Marks(licence=licence))  # fmt: skip


@pytest.mark.parametrize(
    ("known", "said"),
    [
        (sound("a", licence="CC0"), "92.0 BPM, A minor, energy 3, 62.0 s"),
        (sound("a", licence="CC0", tempo=None, key=None),
         "no steady beat, no key, energy 3, 62.0 s"),
        (sound("a"), "92.0 BPM, A minor, energy 3, 62.0 s; licence not known: say it here before"
                     " the stage"),
    ],
)  # fmt: skip
def test_what_a_draft_remarks_of_a_sound(known, said):
    assert draft._remark(known) == said


def test_sounds_of_one_name_are_told_apart_by_a_number():
    here = {
        "1": sound("rain", path="/a/rain.wav"), "2": sound("rain", path="/b/rain.wav"),
        "3": sound("rain", path="/c/rain.wav"), "4": sound("x", path="/a/a:b, [c].wav"),
        "5": sound("y", path="/a/" + "z" * 90 + ".wav"), "6": sound("w", path="/a/###.wav"),
    }  # fmt: skip
    names = draft._names(here, SimpleNamespace(sounds=list(here)))
    assert list(names.values()) == ["rain", "rain 2", "rain 3", "a b c", "z" * 60, "sound"]


@pytest.mark.parametrize("kept", [None, Path("old.yaml")])
def test_what_a_draft_says_it_wrote(capsys, kept):
    piece = SimpleNamespace(piece=SimpleNamespace(name="One"))
    drafted = SimpleNamespace(pieces=[piece, piece], lacks=("No outro.",))
    here, names = {"1": sound("rain")}, {"1": "rain"}
    draft._say(Path("m/routine.yaml"), kept, drafted, here, names, as_json=False)
    told = capsys.readouterr().out.splitlines()
    assert told == [
        "m/routine.yaml: 2 set pieces from 1 sounds.", "No outro.",
        *(["What was there is kept as old.yaml."] if kept else []), "Next: liveaid check m",
    ]  # fmt: skip
    draft._say(Path("m/routine.yaml"), kept, drafted, here, names, as_json=True)
    said = capsys.readouterr().out
    assert ('"kept": null' in said) is (kept is None)
    assert '"rain": "/s/rain.wav"' in said
