"""Every free number of the follower in one table, with what it was estimated from.

Nats are natural logarithms of likelihood ratios; a price is paid once for leaving the order. What
makes up a deck's line (deck_line.py), its silence (hearing.py) and the judge of senders have
theirs by name where they are used: they are of signals, not of performers.

Each number says where it is from:
D  the design: set by hand by whoever wrote two prototypes, on performances of another generator.
O  set by hand on single performances that failed, of the simulator, of other hands
   (`tests/bench/other_hands.py`) and of a third generator; judged on seeds apart all together.
S  set by hand or by a search when this follower was first written; which, was not kept.
P  physics or common practice, no source; thought to matter little between half and twice.
`tests/bench/follower_numbers.py` estimates them again and judges on seeds apart. It has not been
run over all of them since those marked O were set.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbers:
    """Scores, prices and times."""

    # How a record looks.
    held_speed: float = 0.07
    """Slower is held. D"""
    held_for_s: float = 0.04
    """A line so long tells that. P: three messages at 75 a second."""
    held_moved_s: float = 0.05
    """A record held elsewhere than so near is held anew. P: a finger's width of groove."""
    run_off: float = 0.14
    """Within so much of its own speed it runs by itself. D: nudges by hand are below .15."""
    run_for_s: float = 0.1
    """A line so long tells that it runs; a release is read from then on. D"""
    slack_most: float = 0.15
    """A speed's own error widens that by no more. P"""
    hand_for_s: float = 0.05
    """A line so long tells a hand. P"""
    unclear_error: float = 0.3
    """A speed as uncertain as this tells a hand only from `unclear_s` on. P"""
    unclear_s: float = 0.3
    """See there. P"""
    let_go_most_s: float = 0.2
    """A release is dated back to where the record was held by no more. P"""
    same_line_s: float = 0.12
    """A run taken up again so near its old line is the same run. D"""
    same_gap_s: float = 0.45
    """And so soon. D"""
    near_cue_s: float = 0.25
    """So near its cue a record waits there; twice as far it is being brought. D"""
    from_cue_s: float = 0.15
    """A release from so near is a release from the cue. D"""
    entered_s: float = 0.3
    """A gesture begun so much earlier is of the set piece before. P: hands are early by less."""

    # A deck that runs, in nats.
    place_s: float = 0.08
    """How far off a running record may be, a standard deviation. D; takes bend it."""
    place_stray: float = 0.03
    """Share of time it is anywhere. D"""
    stray_s: float = 300.0
    """Anywhere is so long: a record's side of five minutes. P"""
    caught: float = -3.5
    """Held for a moment, near its place. D, adjusted S"""
    caught_at_end: float = -0.5
    """Held in the last beat, within a beat of its place. D"""
    stopped: float = -5.0
    """Held for longer. D"""
    stopped_after_s: float = 0.5
    """A moment is so long. D"""
    waiting: float = -0.7
    """Still held at its cue when it should have begun. D"""
    late_after_s: float = 0.5
    """From so late on that costs more. O"""
    late_each_s: float = -1.0
    """So much more each second. O"""
    nudged: float = -1.0
    """Moved by hand near its place for a moment. D"""
    pushed: float = -4.5
    """Moved by hand else. D"""

    # A deck that is worked.
    let_go: float = 0.6
    """Share of releases that are from the cue. D"""
    inside: float = 0.4
    """Share from elsewhere in the span. D"""
    span_s: float = 2.0
    """Spread over so long, whatever the span: a tight one has no advantage. D"""
    juggle_run_s: float = 1.4
    """In a juggle a record is let run no longer than so. P: two beats at 86 a minute."""
    kept_each_s: float = -1.0
    """So much for each second more. O"""
    at_cue: float = 0.6
    """Held at the cue. D"""
    idle_after_s: float = 2.7
    """Longer than so, while the other deck is moved, it is not being worked. P: four beats at 90 a
    minute, the longest hold or breath."""
    idle_each_s: float = -0.5
    """So much for each second more. O"""
    idle_least: float = -3.0
    """And no more in all. O"""
    in_hand: float = 0.5
    """Moved inside its span. D"""
    edge_s: float = 0.3
    """So far beyond its end still counts as inside, and as the same turn. D"""
    held_away: float = -5.0
    """Held elsewhere. D"""
    gone_on: float = -1.0
    """Held at its next cue already. D"""
    leaving_beats: float = 4.0
    """In so many last beats that is right; in so many first ones it is held elsewhere. O"""
    past_end: float = -2.0
    """Running on past the span's end. D"""
    past_end_fall: float = -4.0
    """So much for each second of it. D"""
    outside: float = -8.0
    """Running elsewhere, or held at another cue. D, O"""
    hand_away: float = -4.0
    """Moved elsewhere. D"""
    hand_reach_s: float = 0.5
    """A move that began so near the span may leave it. P"""
    hand_lasts_s: float = 4.0
    """For so long. P: the longest wind from there."""
    hand_far_s: float = 3.0
    """But no farther beyond it, where it is wound away. P: a turn and a half, a long spin-back."""

    # A deck that rests.
    left_on_beats: float = 6.0
    """A run from before is free for so many beats. D"""
    left_on_beat_s: float = 0.5
    """Then each beat counts as so many seconds. P: a beat at 120 a minute."""
    left_on_least: float = -0.5
    """And no more in all: who lets it run lets it run. O"""
    listens_s: float = 2.2
    """Listening at the next cue is free for so long. D"""
    listens_before_s: float = 1.2
    """Before the start for so long. D"""
    fall: float = -1.5
    """A run that goes on beyond that costs so much a second. D"""
    least: float = -6.0
    """And no more in all. D"""
    starts: float = -1.0
    """A run before the start, which is likely the start. D"""
    listens: float = 0.6
    """Share of runs at rest that begin at the next cue. D"""
    listens_near_s: float = 0.25
    """How near, a standard deviation. D"""
    plays_up: float = 0.15
    """Density of runs that begin before the cue and play up to it. O"""
    plays_up_s: float = 3.0
    """How long before. O"""
    runs_away: float = -4.0
    """A run elsewhere. D"""
    made_ready: float = 0.3
    """Held or moved at the next cue; as much less elsewhere. D"""
    not_ready: float = -1.0
    """Elsewhere before the start. O"""

    # How much a gesture weighs.
    full_s: float = 0.35
    """Fully after so long. D"""
    news_full_s: float = 0.15
    """News after so long: it began at a known moment. S"""
    more_each_s: float = 2.0
    """One more for every so many seconds. D"""
    most: float = 5.0
    """So much at most for a run. D"""
    most_held: float = 2.0
    """And for a record held or moved. S"""
    fade_s: float = 5.0
    """What is over fades with this time constant. D"""

    # How a count moves, in beats where nothing else is said.
    draw_beats: float = 0.5
    """A leading record draws the count from so far. D"""
    draws: float = 0.5
    """By such a share each look. D"""
    agrees_beats: float = 0.1
    """Nearer than so fully. P"""
    first_beats: float = 2.5
    """In so many first beats a set piece has hardly begun. D"""
    last_beats: float = 1.5
    """In so many last ones it is at its end. D"""
    early_off_beats: float = 2.0
    """A release in the first beats draws the count from so far. D"""
    anew_s: float = 0.5
    """And a release from the cue within so many seconds. D"""
    runs_on_s: float = 1.0
    """A run that began so long before the set piece may lead it. P"""
    begun_beats: float = 0.05
    """Below this a count has not begun: it waits for the hand. P"""
    at_start_beats: float = 0.25
    """Of the first set piece this is the start still: a record at its cue is told a little on. P"""
    let_go_late_beats: float = 0.5
    """A record that stands at its cue so long after it was due is not let go yet; a worked one may
    be back there. P"""
    late_to_beats: float = 3.0
    """A first release no later than so begins a count that waited or did not fit before. D"""
    clock_error: float = 0.012
    """What a count by the clock may be off, a beat. P: a per cent of pitch. O"""
    release_error: float = 0.15
    """What a release may be off its beat, as a deviation; twice that when no news. O"""
    release_off_beats: float = 0.3
    """A release so far off is on no beat. P: below half of a half beat's release."""
    phase_doubt: float = 0.6
    """From this doubt on a release tells the phase and not the number. P"""
    start_doubt: float = 0.1
    """Doubt of a count begun by a hand. P"""
    release_doubt: float = 0.3
    """Of one found by a release. P"""
    held_doubt: float = 0.5
    """Of one found by a record held at its cue. P"""
    midway_at: float = 0.4
    """Where a count entered midway stands, a share of its beats. P: the middle, or before."""
    midway_doubt: float = 0.3
    """Its doubt, a share too. P: 1 / sqrt(12) of a uniform one."""

    # Prices of leaving the order, paid once.
    start: float = 0.0
    """The start. P"""
    start_middle: float = 2.0
    """To begin elsewhere, in whichever set piece: each is one of as many. O"""
    back_in: float = 3.0
    """To be in the map again, after being nowhere or over. D"""
    midway: float = 2.0
    """To come to a count by the clock midway. O"""
    next_late: float = 1.0
    """On to the next as early as hands are off; the square of how much earlier. O"""
    next_off_beats: float = 0.5
    """So much hands are off. O"""
    next_early: float = 5.0
    """Before. D; takes bend it."""
    next_bars: float = 3.0
    """And so much for the share of beats left. D"""
    again: float = 7.0
    """The same anew. D; takes bend it."""
    slip_turn: float = 5.0
    """A slip of one turn; of more the price of one `farther`. D, O"""
    slip: float = 7.0
    """Another slip. D"""
    ahead: float = 6.6
    """One left out, from the end of a set piece. O; takes bend it."""
    back: float = 6.5
    """One gone back, from an end. O; takes bend it."""
    farther: float = 2.0
    """Times the logarithm of how many: half as far is four times as common. O"""
    leaves: float = 2.0
    """Either from elsewhere than its end. O"""
    first: float = 8.0
    """Back to the first. D"""
    late_start: float = 1.0
    """A record that has not run yet begins late. S"""
    overtime: float = 1.0
    """To go on beyond the last beat. O"""
    overtime_each: float = 3.0
    """And for each beat of it. O"""
    stop: float = 6.0
    """To count on after a stop. S"""
    stop_s: float = 4.0
    """Both records held for so long are a stop. S"""
    stop_heard_s: float = 3.0
    """It is remembered for so long. P"""
    still_s: float = 1.0
    """Both held for so long wait for a beginning. O"""
    count_stands_s: float = 4.5
    """A count by the clock stands when both have been held for so long. S"""
    lost: float = 7.0
    """To be nowhere. S"""
    lost_runs: float = -2.5
    """A run there. S"""
    lost_else: float = -0.8
    """Anything else there. S"""

    # Looking for others, and telling.
    contradicted: float = -2.5
    """A fit below this contradicts. D"""
    contradicted_s: float = 0.05
    """For so long. D"""
    look_each_s: float = 0.2
    """Looked for no more often than so while nothing begins. P"""
    guesses: int = 8
    """How many are kept. D: 64 no better, 3 worse."""
    of_one: int = 3
    """Of one set piece so many, so that its twins crowd out no other. O"""
    far: float = 25.0
    """Dropped at so many nats behind. P"""
    settled_s: float = 2.0
    """A lead of so long becomes price, or fading would undo it. D"""
    renamed: float = 1.0
    """Another name is told from so many nats more. D"""
    taken_back: float = 3.0
    """A name is taken back for one that was over from so many. O"""
    floor: float = 0.002
    """What is never believed away. D"""
    beat_error: float = 0.1
    """What a beat read off a record may be off. P"""
    unheard_leaves: float = 0.015
    """How often a second the order is left while nothing is heard. S"""
    twins: float = 2.0
    """Two places so near in score fit both. D"""
    word: float = 20.0
    """The performer's word. D"""
    stays: float = -0.5
    """The least a gesture may fit a place that the performer stays in. P"""


USUAL = Numbers()
