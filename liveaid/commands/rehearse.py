"""`liveaid rehearse`: count-in, loops, a tempo ladder, takes kept and scored."""

from __future__ import annotations

import asyncio
import dataclasses
import time
from pathlib import Path
from typing import Any

import click

from liveaid.commands.calibrate import calibrate
from liveaid.commands.opening import opened_to_play, say_state
from liveaid.commands.shared_options import FILE
from liveaid.commands.slower_decks import with_slower_decks
from liveaid.commands.speaking import Speaker
from liveaid.commands.stage_options import (
    STAGE_WORDS,
    habits_option,
    rehearse_page,
    share_lines,
    stage_options,
    stage_settings,
    stage_watchers,
    with_habits,
)
from liveaid.errors import UsageError
from liveaid.practice.aim import Aim, aim_of
from liveaid.practice.delays import NO_DELAYS
from liveaid.practice.delays import says as delays_say
from liveaid.practice.ladder import Ladder
from liveaid.practice.limits import LEVELS, Limits
from liveaid.practice.next import READY_AT
from liveaid.practice.reading import TakeReader
from liveaid.practice.rehearsal import Rehearsal
from liveaid.practice.replay import replay, replay_at_once, stored_trace
from liveaid.practice.report import look
from liveaid.practice.schema import takes_file
from liveaid.practice.session import Session
from liveaid.practice.slower import to_load
from liveaid.practice.store import TakeStore
from liveaid.practice.take_keeping import score_unscored
from liveaid.practice.take_line import hand_lines, spoken, spoken_lines, take_line
from liveaid.practice.take_score import ScoredTake
from liveaid.practice.trace import Trace
from liveaid.practice.weeks_plan import PracticePlan, plan_of
from liveaid.routine import Routine
from liveaid.routine.opened import Opened
from liveaid.stage.address import Address
from liveaid.stage.ending import ends_by_signal
from liveaid.stage.living import LivingMap
from liveaid.stage.osc_map import DEFAULT_MAP
from liveaid.stage.service import Service
from liveaid.stage.settings import Settings
from liveaid.terminal import HarmlessConsole, console, json_option, print_json


class _Percent(click.ParamType):  # type: ignore[type-arg]
    """`70%` or `70`: a part, 0.7."""

    name = "per cent"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        try:
            return float(str(value).strip().removesuffix("%")) / 100.0
        except ValueError:
            self.fail(f"{value!r}: per cent such as 70% would do", param, ctx)


PERCENT = _Percent()


@click.command("rehearse")
@click.argument("scene")
@click.option("--piece", metavar="STRETCH",
              help="Practise this by itself, over and over: a set piece's name, `bars 5 to 6 of "
              "NAME`, `from NAME into NAME`, or `weakest`. Left out: all of it.")  # fmt: skip
@click.option("--minutes", type=click.FloatRange(1, 600), metavar="MIN",
              help="A session of so long: what is worth practising, in turns, breaks included; it "
              "moves on by itself.")  # fmt: skip
@click.option("--start-at", type=PERCENT, default="70%", show_default=True,
              help="Part of full tempo to start at. Beyond the fader's reach: with "
              "--slower-decks.")  # fmt: skip
@click.option("--slower-decks", is_flag=True,
              help="Make deck files of the stretch for tempos the fader does not reach, key kept, "
              "in the scene's folder `slower`; it says when to load which.")  # fmt: skip
@click.option("--step", type=PERCENT, default="2%", show_default=True, help="From rung to rung.")
@click.option("--up-after", type=click.IntRange(1, 50), default=3, show_default=True,
              metavar="TAKES", help="Clean takes in a row that earn a rung.")  # fmt: skip
@click.option("--down-after", type=click.IntRange(1, 50), default=2, show_default=True,
              metavar="TAKES", help="Takes in a row, not clean, that cost one.")  # fmt: skip
@click.option("--count-in", "count_in", type=click.IntRange(0, 8), default=1, show_default=True,
              metavar="BARS", help="Clicks before the first beat; 0: none.")  # fmt: skip
@click.option("--limits", type=click.Choice(list(LEVELS)), default="performer",
              show_default=True, help="How strict a clean take is; each limit below may be set by "
              "itself.")  # fmt: skip
@click.option("--bias", type=PERCENT,
              help="Early or late on the whole that is still clean, of a beat (a performer's: "
              "2.5%).")  # fmt: skip
@click.option("--spread", type=PERCENT,
              help="Spread that is still clean, of a beat (4%).")  # fmt: skip
@click.option("--worst", type=PERCENT,
              help="Largest single error that is still clean, of a beat (10%).")  # fmt: skip
@click.option("--wind", type=click.FloatRange(0, 16), metavar="BEATS",
              help="How long before it is due a record that was wound must stand at its cue "
              "(0; a competitor's: 1).")  # fmt: skip
@click.option("--tempo", type=PERCENT,
              help="Deviation of tempo that is still clean (3%).")  # fmt: skip
@click.option("--takes", type=FILE, metavar="FILE",
              help="Where takes are kept; else takes.sqlite beside the section map.")  # fmt: skip
@click.option("--booth-level", type=click.FloatRange(0, 150), metavar="DBA",
              help="Level where you stand, for the day's noise dose.")  # fmt: skip
@click.option("--break-after", type=click.FloatRange(1, 240), default=25, show_default=True,
              metavar="MINUTES", help="Hands-on time after which a break is due.")  # fmt: skip
@click.option("--calibrate", is_flag=True,
              help="Measure how late each deck's positions and the click are: let each record go "
              "and scratch it to the click, then tap it; some four minutes.")  # fmt: skip
@click.option("--output", default="page", show_default=True, metavar="NAME",
              help="What the clicks come out of, such as headphones: each is late by its "
              "own.")  # fmt: skip
@click.option("--speak", is_flag=True,
              help="Say aloud after each take what the page says of it, and between takes what to "
              "set, what comes, and that a break is due; needs a speech synthesiser.")  # fmt: skip
@click.option("--replay", "replayed", metavar="FILE|NUMBER",
              help="Run a stored trace through the service again; nothing is kept.")  # fmt: skip
@click.option("--fast", is_flag=True, help="With --replay: at once, without pages or waiting.")
@habits_option
@json_option
@stage_options
def command(scene: str, **options: Any) -> int:
    """Practise: count-in, loops, a tempo ladder, takes kept and scored.

    Hands-free: bring both records to their cues and hold them, and the count-in begins. A take
    begins and ends by what the decks do. The clicks sound on the page /rehearse, quiet at first.

    Example: liveaid rehearse night-market --piece "Two trams" --start-at 94%

    An hour, hands-free: liveaid rehearse night-market --minutes 60

    Once for each sender and output: liveaid rehearse night-market --calibrate
    """
    found = opened_to_play(scene)
    file, routine = found.playable_file, found.playable()
    takes = options["takes"] or takes_file(file)
    aim = _aim(routine, options, takes)
    if options["fast"] and not options["replayed"]:
        raise UsageError("--fast goes with --replay")
    trace = stored_trace(options["replayed"], takes) if options["replayed"] else None
    if trace is not None and options["fast"]:
        return _report_at_once(trace, aim, as_json=options["as_json"])
    settings = stage_settings({word: options[word] for word in STAGE_WORDS}, routine, file)
    if options["calibrate"]:
        calibrate(routine, settings, takes, sender=_sender(options), output=options["output"])
        return 0
    aim = _with_delays(aim, takes, _sender(options), options["output"])
    if options["slower_decks"]:
        if not aim.piece or options["minutes"]:
            raise UsageError("--slower-decks: with --piece and one stretch, it would do")
        aim = with_slower_decks(aim, found, options["start_at"])
    learnt: list[str] = []
    if not (aim.piece or options["minutes"] or options["no_habits"]):
        settings, learnt = with_habits(settings, routine, map_file=file, takes=takes)
    session = Session(aim, ladder=_ladder(aim, options), count_in_bars=options["count_in"])
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        runner.run(_rehearse(session, found, settings, takes, trace, options, learnt))
    return 0


def _aim(routine: Routine, options: dict[str, Any], takes: Path) -> Aim:
    wanted = options["piece"] or ""
    if wanted == "weakest":
        wanted = _weakest(routine, takes)
    aim = aim_of(routine, wanted, _limits(options))
    if aim is None:
        names = ", ".join(piece.name for piece in routine.pieces)
        raise UsageError(
            f"--piece {wanted}: no such stretch; one of these would do: {names}; or `bars 1 to 2 "
            "of NAME`, or `from NAME into NAME`, two that follow each other"
        )
    return aim


def _sender(options: dict[str, Any]) -> str:
    """What writes the positions, by the name of its OSC map."""
    return Path(options["osc_map"]).stem if options.get("osc_map") else "default"


def _with_delays(aim: Aim, takes: Path, sender: str, output: str) -> Aim:
    """The aim with what is known of the sender's delays and the click's."""
    known = NO_DELAYS
    if takes.is_file():
        with TakeReader(takes) as reader:
            known = reader.delays(sender, output)
    return dataclasses.replace(aim, sender=sender, delays=known)


def _limits(options: dict[str, Any]) -> Limits:
    """The set asked for, with what was asked for by itself."""
    own = {f"{word}_beats": options[word] for word in ("bias", "spread", "worst")}
    own["tempo_percent"] = None if options["tempo"] is None else 100 * options["tempo"]
    own["wind_beats"] = options["wind"]
    asked = {name: value for name, value in own.items() if value is not None}
    return dataclasses.replace(LEVELS[options["limits"]], **asked)


def _weakest(routine: Routine, takes: Path) -> str:
    """The set piece with most to gain; before the first take the routine's hardest-working one."""
    if not takes.is_file():
        return max(routine.pieces, key=lambda piece: piece.energy).name
    score_unscored(takes, routine)
    with TakeReader(takes) as reader:
        return look(routine, reader, now=time.time(), ready_at=READY_AT).order[0].name


def _plan(routine: Routine, takes: Path, minutes: float) -> PracticePlan:
    """The session's turns by all that was kept."""
    with TakeReader(takes) as reader:
        found = look(routine, reader, now=time.time(), ready_at=READY_AT)
        return plan_of(routine, found, reader.pieces(), minutes)


def _ladder(aim: Aim, options: dict[str, Any]) -> Ladder | None:
    if not aim.piece:
        return None
    return Ladder(
        full_tempo_bpm=aim.asked.pieces[0].tempo_bpm, decks_parts=tuple(aim.decks) or (1.0,),
        pitch_range_percent=aim.routine.turntable.pitch_range_percent,
        start_part=options["start_at"], step_part=options["step"],
        up_after=options["up_after"], down_after=options["down_after"],
    )  # fmt: skip


def _report_at_once(trace: Trace, aim: Aim, *, as_json: bool) -> int:
    found = replay_at_once(trace, aim)
    if as_json:
        print_json({"takes": [take.to_json() for take in found]})
        return 0
    screen = console()
    screen.say(*(take_line(take.score, ended=take.ended) for take in found))
    if not found:
        screen.print("No take in this trace.")
    return 0


async def _rehearse(
    session: Session,
    found: Opened,
    settings: Settings,
    takes: Path,
    trace: Trace | None,
    options: dict[str, Any],
    learnt: list[str],
) -> None:
    screen, routine = console(lasting=True), found.playable()
    store = None if trace is not None else TakeStore(takes)
    if store is not None:
        score_unscored(takes, routine, session.aim.limits)
    if trace is not None:
        settings = dataclasses.replace(settings, osc_map=DEFAULT_MAP)
    plan = _plan(routine, takes, options["minutes"]) if options["minutes"] else None
    speaker = Speaker() if options["speak"] else None

    def told(take: ScoredTake) -> None:
        _tell(screen, take, session, as_json=options["as_json"])
        if speaker is not None:
            speaker.say(spoken_lines(take.score))

    def notice(sentence: str) -> None:
        if not options["as_json"]:
            screen.print(sentence, markup=False, highlight=False, soft_wrap=True)
        if speaker is not None:
            speaker.say([spoken(sentence)], notice=True)

    rehearsal = Rehearsal(
        session, routine, store=store, file=takes, booth_dba=options["booth_level"],
        break_after_s=60 * options["break_after"],
        told=told, notice=notice,
        plan=plan, ladder_for=lambda aim: _ladder(aim, options),
    )  # fmt: skip
    if plan is not None and plan.turn is not None:
        rehearsal.go_to(plan.turn.what)
    living = LivingMap(
        found,
        use=lambda whole: stage.use(rehearsal.use(whole)),
        busy=lambda: session.phase(time.monotonic()) in ("count-in", "take"),
        told=say_state,
    )
    beside = stage_watchers(options, settings) + ([living] if trace is None else [])
    stage = Service(session.aim.routine, settings, watchers=[rehearsal, *beside])
    try:
        with ends_by_signal(stage.ask_stop):
            async with stage:
                if not options["as_json"]:
                    _say_where(screen, stage, session, takes, plan, kept=store is not None)
                    screen.say(*learnt)
                say_state(found)
                await _until_done(stage, trace)
    finally:
        if speaker is not None:
            speaker.stop()
        if store is not None:
            store.close()
            _say_what_waits(store)
    if not options["as_json"]:
        screen.print(f"{session.takes} takes, {session.clean} clean of {session.judged} judged.")


def _say_what_waits(store: TakeStore) -> None:
    """Takes the database did not take: where they are, and what becomes of them."""
    if store.in_memory:
        click.echo(f"{store.in_memory} takes are lost: the disk has no room for them.", err=True)
    elif store.waiting:
        click.echo(
            f"{store.waiting} takes wait in {store.journal.folder}; the next `liveaid review` or "
            "`rehearse` puts them in.",
            err=True,
        )


async def _until_done(stage: Service, trace: Trace | None) -> None:
    if trace is None:
        return await stage.run()
    to = Address(stage.osc_address.host, stage.osc_address.port)
    sending = asyncio.ensure_future(replay(trace, to))
    running = asyncio.ensure_future(stage.run())
    done, waiting = await asyncio.wait({sending, running}, return_when=asyncio.FIRST_COMPLETED)
    for task in waiting:
        task.cancel()
    await asyncio.gather(*waiting, return_exceptions=True)
    for task in done:
        task.result()
    return None


def _say_where(
    screen: HarmlessConsole,
    stage: Service,
    session: Session,
    takes: Path,
    plan: PracticePlan | None,
    *,
    kept: bool,
) -> None:
    ladder = session.ladder
    lines = [
        f"Page     {rehearse_page(stage)}  (clicks; start quiet)",
        *share_lines(stage.settings.share),
        f"OSC in   {stage.osc_address}",
        f"Takes    {takes if kept else 'not kept: a replay'}",
        f"Practise {session.aim.piece or 'the whole routine'}",
        f"Delays   {delays_say(session.aim.delays)}",
    ]
    if ladder is not None:
        lines.append(f"Tempo    {ladder.tempo_bpm:.1f} BPM: pitch {ladder.pitch_percent:+.1f} %")
        if ladder.held_up:
            lines.append(
                f"         {ladder.start_part:.0%} is beyond the fader's "
                f"{ladder.pitch_range_percent:g} %, so the ladder starts at {ladder.part:.0%}; "
                "--slower-decks makes deck files for less"
            )
    if session.aim.decks:
        lines.append(f"Decks    {to_load(session.aim.piece, session.aim.decks_part)}")
    lines += [
        f"         {turn.what or 'break'} {turn.lasts_s / 60:.0f} min: {turn.why}"
        for turn in (plan.turns if plan else ())
    ]
    screen.say(*lines)


def _tell(screen: HarmlessConsole, take: ScoredTake, session: Session, *, as_json: bool) -> None:
    if as_json:
        print_json(take.to_json())
        return
    first = take_line(take.score, ended=take.ended, number=take.number)
    screen.say(first, *(f"    {said}" for said in hand_lines(take.score)))
    if session.ladder is not None:
        ladder = session.ladder
        screen.print(
            f"    next: {ladder.tempo_bpm:.1f} BPM, pitch {ladder.pitch_percent:+.1f} %, "
            f"{ladder.clean_run} clean in a row"
        )
        if session.other_decks is not None:
            told = to_load(session.aim.piece, session.other_decks)
            screen.say(f"    {told}")
