"""Sections by hand: the facts of beats, what each speaks for, and the best run through them."""

import itertools

import numpy as np
import pytest

from liveaid.study import sections
from liveaid.study.onsets import Onsets
from liveaid.study.sections import PLAYS, Section, beat_facts, edges_of, find_sections, struck
from liveaid.study.texture import TEXTURE_FRAMES_HZ, Texture


def onsets(times_s, strength=1.0):
    strengths = np.broadcast_to(np.float32(strength), len(times_s)).astype(np.float32)
    return Onsets(np.asarray(times_s, float), strengths, np.tile(strengths[:, None], 4))


@pytest.mark.parametrize(
    ("count", "duration_s", "last"),
    [
        (8, 9.0, [5.0]),  # beats at 1 to 4.5 s, and half a second more
        (8, 4.7, [4.7]),  # or to the end
        (7, 4.4, None),  # fewer tell no beats: seconds do
    ],
)
def test_edges_are_the_beats_and_one_more(count, duration_s, last):
    edges = edges_of(1.0 + 0.5 * np.arange(count), duration_s)
    if last is None:
        assert edges.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
        assert edges_of(np.zeros(0), 4.5).tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
        assert edges_of(np.zeros(0), 4.51).tolist() == [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]
    else:
        assert edges.tolist() == [*(1.0 + 0.5 * np.arange(count)), *last]


def test_a_beat_is_told_by_what_lasts_and_strikes_in_it_against_the_usual():
    """Ten beats of ten frames each, drawn; each fact in decades, .0001 to 100, written out by the
    mean over a beat's frames. The loud fifth is what beats are held against, the fuller three
    tenths what is usual in each group."""
    rng = np.random.default_rng(6)
    lasting, striking = 10.0 ** rng.uniform(-7, 0, (2, 100, 4))
    lasting[:, 2] = striking[:, 3] = 0.0
    lasting[40:50] = striking[40:50] = 0.0
    alike = rng.uniform(0.0, 1.0, (100, 3))
    empty = np.zeros(100)
    texture = Texture(lasting, striking, np.zeros((100, 3)), alike, empty, empty)
    edges_s = np.arange(11) * 10 / TEXTURE_FRAMES_HZ
    times_s = np.sort(rng.uniform(0.0, edges_s[-1], 25))
    heard = onsets(times_s, rng.uniform(0.0, 1.0, 25))

    def decades(ratio):
        return np.log10(np.clip(ratio, 1e-4, 1e2))

    def means(values):
        return np.array([values[at : at + 10].mean(axis=0) for at in range(0, 100, 10)])

    lasts, strikes = means(lasting), means(striking)
    level = (lasts + strikes).sum(axis=1)
    loud = np.quantile(level, 0.8)
    usual = [np.maximum(np.quantile(one, 0.7, axis=0), 1e-5 * loud) for one in (lasts, strikes)]
    hits = [
        heard.strength[(a <= times_s) & (times_s < b)].sum() / (b - a)
        for a, b in itertools.pairwise(edges_s)
    ]
    wanted = [
        decades(lasts / (lasts + strikes + 1e-4 * loud)),
        decades(lasts / usual[0]),
        decades(strikes / usual[1]),
        decades(level / loud)[:, None],
        decades(np.array(hits) + 0.1)[:, None],
        means(alike),
    ]
    found = beat_facts(texture, heard, edges_s)
    assert found[:, :17] == pytest.approx(np.concatenate(wanted, axis=1), abs=1e-5)
    silent = Texture(*np.zeros((2, 100, 4)), *np.zeros((2, 100, 3)), empty, empty)
    assert np.isfinite(beat_facts(silent, onsets([]), edges_s)).all()


@pytest.fixture
def by_two(monkeypatch):
    """Only the facts in columns 0 and 12 count: drums by the first and .4, the level by the
    other."""

    def of(drums, level, voice, alone):
        width = len(sections.DRUMS)
        monkeypatch.setattr(sections, "DRUMS", (1.0, *[0.0] * (width - 1)))
        monkeypatch.setattr(sections, "DRUMS_BASE", 0.4)
        facts = np.zeros((1, width))
        facts[0, [0, 12]] = drums, level
        odds = sections._odds(facts, np.array([voice]), np.array([alone]), 4)
        return dict(zip(PLAYS, odds[0].tolist(), strict=True))

    return of


@pytest.mark.parametrize(
    ("facts", "odds"),
    [
        # Drums alone, voice alone, voice, full, thin.
        ((0.6, -0.7, 0.5, 0.5), (1.0, 0.0, 0.0, 0.0, -1.0)),
        ((-1.4, -0.7, 0.5, 0.5), (-1.0, 0.0, 0.0, 0.0, 0.0)),
        # A voice speaks against drums alone; with nothing else for a voice alone.
        ((0.6, -0.7, 0.75, 0.5), (-0.0986, 1.0986, 1.0986, 0.0, -1.0)),
        ((0.6, -0.7, 0.75, 0.75), (-0.0986, 2.1972, 0.0, 0.0, -1.0)),
        ((0.6, -0.7, 0.25, 0.25), (1.0, -2.1972, -1.0986, 0.0, -1.0)),
        ((0.6, -0.7, 1.0, 0.0), (-2.8918, 0.0, 3.8918, 0.0, -1.0)),
        # Thin by 4 a decade beneath -.7, to 3 at most; drums not beyond 6 either way.
        ((-0.4, -1.2, 0.5, 0.5), (0.0, 0.0, 0.0, 0.0, 2.0)),
        ((-0.4, -2.0, 0.5, 0.5), (0.0, 0.0, 0.0, 0.0, 3.0)),
        ((-0.4, 0.3, 0.5, 0.5), (0.0, 0.0, 0.0, 0.0, -3.0)),
        ((9.0, -0.7, 0.5, 0.5), (6.0, 0.0, 0.0, 0.0, -6.0)),
        ((-9.0, -0.7, 0.5, 0.5), (-6.0, 0.0, 0.0, 0.0, 0.0)),
    ],
)
def test_each_beat_speaks_for_each_kind_of_section_by_its_facts(by_two, facts, odds):
    """Log odds of a voice: ln(.75 / .25) = 1.0986, and ln(.98 / .02) = 3.8918 at most."""
    told = by_two(*facts)
    wanted = dict(zip(("drums alone", "voice alone", "voice", "full", "thin"), odds, strict=True))
    assert told == pytest.approx(wanted, abs=1e-4)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("bar", [None, (3, 1)])
def test_the_sections_are_the_best_of_all_runs_there_are(seed, bar):
    """Of 3 kinds over 7 beats, 2,187 runs: a change costs 4, within a bar 2.5 more."""
    odds = np.random.default_rng(seed).normal(0.0, 4.0, (7, 3))

    def worth(run):
        changes = sum(
            4.0 + (2.5 if bar and (beat - bar[1]) % bar[0] else 0.0)
            for beat in range(1, 7)
            if run[beat] != run[beat - 1]
        )
        return sum(odds[beat, state] for beat, state in enumerate(run)) - changes

    best = max(itertools.product(range(3), repeat=7), key=worth)
    assert sections._likeliest(odds, bar).tolist() == list(best)


def test_a_section_goes_from_change_to_change(monkeypatch):
    """Four beats are wanted at least."""
    monkeypatch.setattr(sections, "_odds", lambda facts, voice, alone, bar_beats: facts)
    full, drums = PLAYS.index("full"), PLAYS.index("drums alone")
    odds = np.zeros((6, len(PLAYS)))
    odds[:2, full] = odds[2:, drums] = 9.0
    none, edges_s = np.zeros(6), np.arange(7) * 0.5
    assert find_sections(odds, none, none, edges_s, None) == (
        Section(0.0, 1.0, "full", 2),
        Section(1.0, 3.0, "drums alone", 4),
    )
    assert len(find_sections(odds[:4], none, none, edges_s, None)) == 2
    assert find_sections(odds[:3], none, none, edges_s, None) == ()


@pytest.mark.parametrize(
    ("plays", "times_s", "left"),
    [
        # Half a stroke a beat: two of four beats, from 20 ms before each edge on.
        ("drums alone", (10.1, 11.0), "drums alone"),
        ("drums alone", (10.1,), "thin"),
        ("drums alone", (9.981, 11.979), "drums alone"),
        ("drums alone", (9.979, 11.0), "thin"),
        ("drums alone", (11.0, 11.981), "thin"),
        ("voice", (), "voice"),
        ("full", (10.1,), "full"),
    ],
)
def test_drums_strike_every_other_beat_at_least(plays, times_s, left):
    one = Section(10.0, 12.0, plays, 4)
    assert [each.plays for each in struck((one,), onsets(times_s))] == [left]


def test_each_fact_of_a_beat_speaks_for_drums_as_learnt():
    """Seventeen beats, each with another fact lower by one: log odds of .4 less that fact's weight,
    kept as they were learnt."""
    facts = np.vstack([np.zeros(17), -np.eye(17)])
    even = np.full(18, 0.5)
    drums = sections._odds(facts, even, even, 1)[:, PLAYS.index("drums alone")]
    assert drums == pytest.approx([
        0.4, 0.57, 1.15, 1.41, 0.85, 1.02, 0.68, 1.17, 0.36, 0.87, -0.19, 1.19, 0.04, 0.7, -0.58,
        4.15, 3.08, 1.31,
    ])  # fmt: skip


def test_a_bar_has_four_beats_where_it_is_not_known(monkeypatch):
    asked = []

    def odds(facts, voice, alone, bar_beats):
        asked.append(bar_beats)
        return np.zeros((len(facts), len(PLAYS)))

    monkeypatch.setattr(sections, "_odds", odds)
    none, edges_s = np.zeros(6), np.arange(7.0)
    for bar in (None, (3, 0)):
        find_sections(np.zeros((6, 17)), none, none, edges_s, bar)
    assert asked == [4, 3]
