"""The best order, against every order there is, and the cost against numbers worked by hand."""

from __future__ import annotations

from dataclasses import asdict, replace
from itertools import islice, permutations, product
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liveaid.routine import load_routine
from liveaid.routine.arrange import (
    TERMS,
    Answer,
    Arrangement,
    Weights,
    arrange,
    arranged,
    can_trade,
    marked_free,
    marked_swap,
    weights_from,
)  # fmt: skip
from liveaid.routine.arrange.beyond import best_found
from liveaid.routine.arrange.cost import _heard, _Wait, _wound, costs_of
from liveaid.routine.arrange.exact import ExactTask, exact_orders
from liveaid.routine.arrange.items import hand_roles
from liveaid.routine.check import changes
from liveaid.routine.model import PARTS


def every_order(task):
    """Brute force: all places, all deck choices, costed one by one."""
    slots = task.slots()
    by_piece = {}
    for i, item in enumerate(task.costs.items):
        by_piece.setdefault(item.piece, []).append(i)
    for chosen in permutations(task.free):
        row = iter(chosen)
        pieces = [next(row) if slot is None else slot for slot in slots]
        for order in product(*(by_piece[piece] for piece in pieces)):
            yield task.costs.total(order), order


def tasks(draw, routine):
    count = len(routine.pieces)
    free = draw(st.sets(st.integers(0, count - 1)))
    few = st.lists(st.integers(0, count - 1), max_size=3 if count > 4 else count)
    swap = set(draw(few))
    swappable = [i in swap and can_trade(p) for i, p in enumerate(routine.pieces)]
    return ExactTask(costs_of(routine, swappable, Weights()), tuple(sorted(free)))


@settings(max_examples=60)
@given(data=st.data())
def test_no_order_at_all_is_cheaper_and_the_best_few_come_in_order(data, routines_of):
    task = tasks(data.draw, data.draw(routines_of(max_pieces=6)))
    brute = sorted(cost for cost, _ in every_order(task))
    met = list(islice(exact_orders(task), 8))
    assert [solution.cost for solution in met] == brute[:8]
    assert len({solution.order for solution in met}) == len(met)
    for solution in met:
        assert task.costs.total(solution.order) == solution.cost


@settings(max_examples=12)
@given(data=st.data())
def test_six_free_set_pieces_are_arranged_as_well_as_all_720_orders_allow(data, routines_of):
    routine = data.draw(routines_of(min_pieces=6, max_pieces=6))
    task = ExactTask(costs_of(routine, [False] * 6, Weights()), tuple(range(6)))
    brute = sorted(cost for cost, _ in every_order(task))
    assert [solution.cost for solution in islice(exact_orders(task), 5)] == brute[:5]


@settings(max_examples=30)
@given(data=st.data())
def test_the_search_beyond_never_goes_below_its_bound_and_the_bound_never_above_the_best(
    data, routines_of
):
    task = tasks(data.draw, data.draw(routines_of(max_pieces=6)))
    best = min(cost for cost, _ in every_order(task))
    found, bound = best_found(task, beam=20)
    assert bound <= best <= found[0].cost
    assert task.costs.total(found[0].order) == found[0].cost
    played = sorted(task.costs.items[i].piece for i in found[0].order)
    assert played == list(range(task.places))


@settings(max_examples=40)
@given(data=st.data())
def test_fixed_set_pieces_keep_their_place_and_each_is_played_once(data, routines_of):
    routine = data.draw(routines_of(max_pieces=6))
    free = data.draw(st.sets(st.integers(0, len(routine.pieces) - 1)))
    found = arrange(routine, free=free, swap=range(len(routine.pieces)), best=2)
    for answer in found.answers:
        order = [item.piece for item in answer.items]
        assert sorted(order) == list(range(len(order)))
        assert all(order[i] == i for i in range(len(order)) if i not in free)
        assert answer.cost == sum(answer.by_term.values())
    assert found.answers[0].cost <= found.written.cost


def test_orders_shown_differ_by_more_than_their_decks(routine, piece, runs, rests):
    r = routine(*(piece(runs(sound="s"), rests, name=n, tempo=t, swap="free")
                  for n, t in (("a", 90), ("b", 94), ("c", 98))),
                sounds={"s": {"file": "s.wav"}})  # fmt: skip
    found = arrange(r, free=range(3), swap=range(3), best=6)
    orders = [tuple(item.piece for item in answer.items) for answer in found.answers]
    assert len(orders) == len(set(orders)) == 6


# The cost, by hand, with the weights of the docstrings.


def terms(routine, order=None, weights=None):
    costs = costs_of(routine, [False] * len(routine.pieces), weights or Weights())
    walked = costs.walk(order or range(len(routine.pieces)))
    return [{t: int(p) for t, p in zip(TERMS, row, strict=True) if p} for row in walked]


def test_winding_costs_its_turns_and_a_short_change_its_beats(routine, piece, runs):
    # left from 8 s to 17 s: 5 turns x 6 = 30 points; 5/3 + 0.5 = 2.1667 s = 4.3333 beats short x
    # 1000 = 4333; and below the margin. right runs on.
    flat = {"energy": 2, "part": "intro"}
    r = routine(piece(runs(0), runs(0), count="left", **flat),
                piece(runs(17), runs(8), **flat))  # fmt: skip
    assert terms(r)[1] == {"winding": 30, "short": 4333, "tight": 60}


def test_a_rest_gives_the_time_to_wind(routine, piece, runs, rests):
    # 5 turns, 8 s of rest: only the turns are paid.
    flat = {"part": "intro", "energy": 2}
    r = routine(piece(runs(0), rests, **flat), piece(rests, runs(0), **flat),
                piece(runs(17), rests, **flat))  # fmt: skip
    assert terms(r)[2] == {"winding": 30}


def test_tempo_key_energy_parts_hands_and_technique_cost_what_they_say(
    routine, piece, works, rests
):
    sounds = {"c": {"file": "c.wav", "tempo": 100, "key": "C major", "stretch": True},
              "d": {"file": "d.wav", "tempo": 100, "key": "D major", "stretch": True}}  # fmt: skip
    r = routine(
        piece(works(0, 1, sound="c"), rests, tempo=100, part="story", technique="Cut", energy=4),
        piece(rests, works(0, 1, sound="d"), tempo=105, part="intro", technique="cut", energy=2),
        sounds=sounds,
    )  # fmt: skip
    first, second = terms(r)
    # Energy 4 where the arc wants 2: 2 x 40. At the end it wants 2.
    assert first == {"energy": 80}
    # 5 % x 8; C to D is two fifths, half of 72; one part back x 300; both hands change over 2 x 20;
    # again a cut 50.
    assert second == {"tempo": 40, "key": 36, "parts": 300, "hands": 40, "technique": 50}


def test_a_step_beyond_the_fader_costs_extra(routine, piece, rests, runs):
    # 100 to 110: 10 % x 8 + 120.
    flat = {"part": "intro", "energy": 2}
    r = routine(piece(runs(0), rests, tempo=100, **flat), piece(rests, runs(0), tempo=110, **flat))
    assert terms(r)[1] == {"tempo": 200}


def test_winding_agrees_with_check_on_a_shared_map(routines):
    # Lantern Row never rests a deck twice in a row, so nothing is simplified away.
    routine = load_routine(routines / "four.yaml")
    one_a_turn = weights_from({"wind_per_turn": 1000})
    paid = sum(row.get("winding", 0) for row in terms(routine, weights=one_a_turn))
    wound = sum(abs(m.turns or 0.0) for m in changes(routine) if m.by_a_hand)
    assert paid == pytest.approx(1000 * wound, abs=len(routine.pieces) * 2)


def test_weights_are_the_performers_to_change(routine, piece, works, rests):
    r = routine(piece(works(0, 1), rests, technique="a"), piece(works(0, 1), rests, technique="a"))
    assert terms(r, weights=weights_from({"same_technique": 7}))[1]["technique"] == 7
    with pytest.raises(KeyError):
        weights_from({"sparkle": 1})


# The map in its new order.


def test_a_new_order_alone_keeps_every_second(routine, piece, runs, rests):
    r = routine(
        piece(runs(8), rests, name="end", part="outro"),
        piece(runs(0), rests, name="start", part="intro"),
    )
    best = arrange(r, free=[0, 1]).answers[0]
    new = arranged(r, best.items)
    assert [p.name for p in new.pieces] == ["start", "end"]
    assert [p.left.at_s for p in new.pieces] == [0.0, 8.0]
    assert new.placed


def test_traded_decks_give_up_seconds_and_take_the_count_along(routine, piece, runs, works):
    sounds = {"s": {"file": "s.wav"}}
    r = routine(piece(runs(4, sound="s", bars_in=2), works(1, 2, sound="s"), count="left"),
                sounds=sounds)  # fmt: skip
    traded = next(i for i in costs_of(r, [True], Weights()).items if i.swapped)
    new = arranged(r, [traded]).pieces[0]
    assert (new.left.hand, new.right.hand, new.count) == ("works", "runs", "right")
    assert (new.right.bars_in, new.placed) == (2.0, False)


def test_once_decks_are_traded_all_that_names_its_sound_is_to_be_placed_anew(
    routine, piece, runs, rests
):
    r = routine(piece(runs(4, sound="s"), rests), piece(runs(20, sound="s"), rests),
                piece(runs(40), rests), sounds={"s": {"file": "s.wav"}})  # fmt: skip
    traded, plain, bare = (
        next(i for i in costs_of(r, [True, False, False], Weights()).items
             if (i.piece, i.swapped) == wanted)
        for wanted in ((0, True), (1, False), (2, False))
    )  # fmt: skip
    new = arranged(r, [traded, plain, bare]).pieces
    assert (new[0].right.at_s, new[1].left.at_s, new[2].left.at_s) == (None, None, 40.0)


def test_what_only_the_deck_file_holds_cannot_trade_decks(routine, piece, runs, rests):
    r = routine(piece(runs(4), rests), piece(runs(), rests), piece(runs(4, sound="s"), rests),
                sounds={"s": {"file": "s.wav"}})  # fmt: skip
    assert [can_trade(p) for p in r.pieces] == [False, True, True]
    found = arrange(r, free=range(3), swap=range(3), best=1)
    assert not any(item.swapped for item in found.answers[0].items if item.piece == 0)


def test_more_set_pieces_than_the_tables_hold_are_refused(routine, piece, runs, rests):
    r = routine(*[piece(runs(0), rests)] * 101)
    with pytest.raises(ValueError, match="at most 100"):
        arrange(r, free=range(101))


# More of the cost, by hand: 5 turns take 5/3 + 0.5 = 2.1667 s.


@pytest.mark.parametrize(
    ("rest_bars", "on_s", "paid"),
    [
        # 2 s of rest: 0.1667 s are a third of a beat at 1000 a beat.
        ("1", 9, {"winding": 30, "short": 333, "tight": 60}),
        # 3 s: there in time, with 1.67 beats to spare of the two that are wanted; 3.5 s: 2.67.
        ("3/2", 9, {"winding": 30, "tight": 60}),
        ("7/4", 9, {"winding": 30}),
        # Let run it is just where it is wanted: nothing to do.
        ("3/2", 3, {}),
    ],
)
def test_a_rest_of_some_beats_gives_so_much_time(
    routine, piece, runs, rests, rest_bars, on_s, paid
):
    """The left record sounds from 0 to 8 s; 9 s on lie 5 turns from there."""
    flat = {"part": "intro", "energy": 2}
    r = routine(piece(runs(0), rests, **flat),
                piece(rests, runs(0), bars=rest_bars, **flat),
                piece(runs(8 + on_s), rests, **flat))  # fmt: skip
    assert terms(r)[2] == paid


def test_what_is_not_placed_yet_is_taken_to_lie_two_turns_on(routine, piece, runs, rests):
    """12 points; 2/3 + 0.5 = 1.1667 s are 2.3333 beats too few."""
    flat = {"part": "intro", "energy": 2}
    sounds = {name: {"file": f"{name}.wav"} for name in "ab"}
    r = routine(piece(runs(sound="a"), rests, **flat), piece(runs(sound="b"), rests, **flat),
                sounds=sounds)  # fmt: skip
    assert terms(r)[1] == {"winding": 12, "short": 2333, "tight": 60}


def test_pairs_played_apart_cost_for_each_end_that_is_torn(routine, piece, runs, rests):
    flat = {"part": "intro", "energy": 2}
    r = routine(piece(rests, runs(0), name="call", **flat), piece(runs(0), rests, name="x", **flat),
                piece(rests, runs(8), name="answer", follows="call", **flat))  # fmt: skip
    apart = [[row.get("together", 0) for row in terms(r, order)]
             for order in ((0, 1, 2), (1, 0, 2), (2, 0, 1), (0, 2, 1))]  # fmt: skip
    assert apart == [[0, 400, 400], [0, 0, 0], [0, 0, 400], [0, 0, 0]]


def test_of_several_keys_the_best_meeting_counts(routine, piece, runs):
    """C meets C, whatever F# beside it would do; C against F# clashes: 72."""
    sounds = {name: {"file": f"{name}.wav", "tempo": 120, "key": key, "kind": "instrumental"}
              for name, key in (("c", "C major"), ("f", "F# major"))}  # fmt: skip
    flat = {"part": "intro", "energy": 2}
    r = routine(piece(runs(0, sound="c"), runs(0, sound="f"), count="left", **flat),
                piece(runs(8, sound="c"), {"hand": "rests"}, **flat),
                piece({"hand": "rests"}, runs(16, sound="f"), **flat), sounds=sounds)  # fmt: skip
    assert [row.get("key", 0) for row in terms(r)] == [0, 0, 72]


def test_small_steps_of_tempo_cost_nothing_and_others_by_the_percent(routine, piece, runs, rests):
    """Below a twentieth of a per cent is steady; 0.2 are 1.6 points; 2 % down are 16."""
    flat = {"part": "intro", "energy": 2}
    tempi = (100, 100.04, 100.24, 98.235)
    r = routine(*(piece(*((runs(0), rests) if n % 2 else (rests, runs(0))), tempo=tempo, **flat)
                  for n, tempo in enumerate(tempi)))  # fmt: skip
    assert [row.get("tempo", 0) for row in terms(r)] == [0, 0, 2, 16]


def test_the_weights_are_those_the_guide_tells():
    assert asdict(Weights()) == {
        "wind_per_turn": 6, "short_per_beat": 1000, "tight": 60, "tempo_per_percent": 8,
        "tempo_beyond": 120, "key_clash": 72, "energy_per_step": 40, "part_back": 300,
        "hand_change": 20, "same_technique": 50, "apart": 400, "hard_twice": 80,
    }  # fmt: skip


def test_energy_is_held_against_the_arc_by_place(routine, piece, runs, rests):
    """Of five places: 0, 1/4, 1/2, 3/4 and 1 of the way; the arc wants 2, 2.5, 3, 4.67 and 2."""
    r = routine(*(piece(runs(8 * n), rests, part="intro", energy=3) for n in range(5)))
    assert [row.get("energy", 0) for row in terms(r)] == [40, 20, 0, 67, 40]
    assert terms(routine(piece(runs(0), rests, energy=3)))[0]["energy"] == 40


def test_where_the_hands_are(piece, runs, works, rests, routine):
    w, r = works(0, 1), runs(0)
    roles = {
        ("w", "w"): ("platter", "platter"), ("w", "r"): ("platter", "fader"),
        ("r", "w"): ("fader", "platter"), ("w", "-"): ("platter", "fader"),
        ("r", "r"): (None, "fader"), ("r", "-"): (None, None), ("-", "r"): (None, None),
    }  # fmt: skip
    plans = {"w": w, "r": r, "-": rests}
    for (left, right), wanted in roles.items():
        made = routine(piece(plans[left], plans[right], count="clock", technique="cut")).pieces[0]
        assert hand_roles(made) == wanted
    open_ = {"count": "clock", "technique": "baby scratch"}
    assert hand_roles(routine(piece(w, rests, **open_)).pieces[0]) == ("platter", None)
    assert hand_roles(routine(piece(rests, w, **open_)).pieces[0]) == (None, "platter")


def test_where_a_resting_deck_sounded_last_is_remembered_while_it_rests(
    routine, piece, runs, rests
):
    """left, right, right, both rest, left: through the two on the right the left is remembered
    where it sounded; once both rested, nowhere."""
    flat = {"part": "intro", "energy": 2, "count": "clock"}
    r = routine(piece(runs(0), rests, **flat), piece(rests, runs(0), **flat),
                piece(rests, runs(8), **flat), piece(rests, rests, **flat),
                piece(runs(33), rests, **flat), piece(runs(0), runs(20), **flat))  # fmt: skip
    costs = costs_of(r, [False] * 6, Weights())
    nowhere = 6
    told = [costs.remembered(*step) for step in (
        (0, nowhere, 1), (1, 0, 2), (2, 0, 3), (5, nowhere, 1), (1, 0, 4), (0, 3, 5), (3, 0, 1),
    )]  # fmt: skip
    assert told == [0, 0, nowhere, 5, 1, nowhere, nowhere]
    assert costs.keeps(1, 2)
    assert not any((costs.keeps(0, 1), costs.keeps(2, 3), costs.keeps(3, 3)))
    # From 8 s to 33: 13.9 turns, 83 points, and the one rest that counts is 8 s.
    assert terms(r, (0, 1, 2, 4))[3] == {"winding": 83, "energy": 67}


def test_an_arrangement_says_how_far_it_may_be_from_the_best(routine, piece, runs, rests):
    item = costs_of(routine(piece(runs(0), rests)), [True], Weights()).items
    rows = (tuple(range(len(TERMS))), tuple([10] * len(TERMS)))
    best, written = Answer(200, (item[0],), rows), Answer(300, (item[0],), rows)
    told = Arrangement((best,), written, False, 150)
    assert (told.gap, told.is_as_written) == (0.25, True)
    assert Arrangement((Answer(0, (item[0],), ()),), written, True, 0).gap == 0.0
    assert not Arrangement((replace(best, items=(item[1],)),), written, False, 0).is_as_written
    assert list(best.by_term.values()) == [10 + n for n in range(len(TERMS))]


def test_beyond_the_exact_search_a_bound_is_told(routine, piece, runs, rests):
    sounds = {"s": {"file": "s.wav"}}
    r = routine(*(piece(runs(sound="s"), rests, name=f"n{t}", tempo=t, energy=1 + n % 5)
                  for n, t in enumerate((90, 97, 94, 98))), sounds=sounds)  # fmt: skip
    exact, rough = (arrange(r, free=range(4), exact_up_to=most) for most in (4, 3))
    assert (exact.exact, rough.exact) == (True, False)
    assert (exact.bound, exact.gap) == (exact.answers[0].cost, 0.0)
    assert rough.bound <= exact.bound <= rough.answers[0].cost


@pytest.mark.parametrize(
    ("move", "rest_s", "free_s", "paid"),
    [
        # 3 turns: 1 s of winding, .5 s to set it. Two beats of .5 s are to be spared.
        ({"turns": 3.0, "free_s": 2.5}, 0.0, 0.0, (18, 0, 0)),
        ({"turns": -3.0, "free_s": 2.5}, 0.0, 0.0, (18, 0, 0)),
        ({"turns": 3.0, "free_s": 2.375}, 0.0, 0.0, (18, 0, 60)),
        ({"turns": 3.0, "free_s": 1.0, "give_s": 0.25}, 0.0, 0.0, (18, 500, 60)),
        ({"turns": 3.0, "free_s": 1.0, "give_s": 0.25}, 4.0, 1.5, (18, 0, 0)),
        # It runs on: 3 turns are 5.4 s, and .05 s more or less is there by itself.
        ({"turns": 3.0, "free_s": 2.5, "still_runs": True}, 5.4, 0.0, None),
        ({"turns": 3.0, "free_s": 2.5, "still_runs": True}, 5.44, 0.0, None),
        ({"turns": 3.0, "free_s": 2.5, "still_runs": True}, 5.34, 0.0, (18, 0, 0)),
        ({"turns": 3.0, "free_s": 2.5}, 5.4, 0.0, (18, 0, 0)),
    ],
)
def test_what_one_deck_s_change_costs_with_one_rest_between(
    routine, piece, runs, rests, move, rest_s, free_s, paid
):
    couple = routine(piece(runs(0), rests), piece(runs(8), rests))
    known = {"give_s": 0.0, "still_runs": False} | move
    found = _wound(couple, SimpleNamespace(**known), _Wait(rest_s, free_s), Weights())
    assert tuple(found.values()) == (paid or ())


@pytest.mark.parametrize(
    ("before", "after", "steps"), [("intro", "outro", 0), ("outro", "intro", len(PARTS) - 1)]
)
def test_only_a_step_back_in_the_parts_costs(routine, piece, runs, rests, before, after, steps):
    """From an outro to an intro the order goes back over all parts."""
    flat = {"energy": 2, "count": "clock"}
    r = routine(*(piece(runs(0), rests, part=part, **flat) for part in (before, after)))
    items = costs_of(r, [False, False], Weights()).items
    assert _heard(r, *items, Weights())["parts"] == 300 * steps


def test_what_is_marked_free_may_move_or_trade_decks(routine, piece, runs, rests):
    r = routine(piece(runs(0), rests, order="free"), piece(runs(8), rests, swap="free"),
                piece(runs(16), rests))  # fmt: skip
    assert (marked_free(r), marked_swap(r)) == ({0}, {1})


def test_a_count_goes_along_with_the_traded_deck_and_the_clock_stays(routine, piece, runs, rests):
    for count, taken in (("left", "right"), ("clock", "clock")):
        r = routine(piece(runs(sound="s"), rests, count=count), sounds={"s": {"file": "s.wav"}})
        assert costs_of(r, [True], Weights()).items[1].taken.count == taken
