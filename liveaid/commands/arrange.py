"""`liveaid arrange`: the order and decks that cost the hands least."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

import click
from rich.table import Table
from rich.text import Text

from liveaid.commands.laying import layer
from liveaid.commands.opening import opened, say_state
from liveaid.commands.shared_options import FILE
from liveaid.errors import LiveaidError, UsageError
from liveaid.files.aside import write_keeping_old
from liveaid.routine import (
    SIDES,
    Routine,
    RoutineError,
    load_routine,
)
from liveaid.routine.arrange import (
    EXACT_FREE,
    MOST_PIECES,
    TERM_WORDS,
    Answer,
    Arrangement,
    Weights,
    arrange,
    arranged,
    can_trade,
    marked_free,
    marked_swap,
    weights_from,
)
from liveaid.routine.check.against import against
from liveaid.routine.load import read_routine
from liveaid.routine.rewrite import TextPlace, rewritten
from liveaid.routine.save import routine_text
from liveaid.routine.source import read_bytes
from liveaid.terminal import console, json_option, print_json, report_table

_WEIGHTS = ", ".join(field.name for field in fields(Weights))


@click.command(
    "arrange",
    epilog=f"Weights, in points: {_WEIGHTS}.",
)
@click.argument("scene")
@click.option("--free", multiple=True, metavar="NAME",
              help="This set piece may move; `all` for every one. May be given again.")  # fmt: skip
@click.option("--swap", multiple=True, metavar="NAME",
              help="This set piece may trade decks; `all` for every one.")  # fmt: skip
@click.option("--best", type=click.IntRange(1, 20), default=3, show_default=True,
              help="How many orders to show.")  # fmt: skip
@click.option("--weight", "changed", multiple=True, metavar="NAME=POINTS",
              help="Count something more or less; see the list below.")  # fmt: skip
@click.option("--write", type=FILE, metavar="FILE",
              help="Write the best order as a section map.")  # fmt: skip
@click.option("--pick", type=click.IntRange(1, 20), default=1, show_default=True,
              help="Which of the orders shown to write.")  # fmt: skip
@json_option
def command(
    scene: str, free: tuple[str, ...], swap: tuple[str, ...], best: int, changed: tuple[str, ...],
    write: Path | None, pick: int, as_json: bool,
) -> None:  # fmt: skip
    """Find the order and decks that cost the hands least.

    A set piece with `order: free` may move, one with `swap: free` may trade decks; a fixed one
    keeps its place number. Where the map marks none and no --free is given, all may move.

    Example: liveaid arrange night-market --swap all --write new-order.yaml
    """
    opening = opened(scene)
    file = opening.file
    routine = load_routine(file)
    say_state(opening)
    may_move, said = _may_move(routine, free)
    may_trade = _named(routine, swap, "--swap") | marked_swap(routine)
    if len(routine.pieces) > MOST_PIECES:
        raise LiveaidError(
            f"{len(routine.pieces)} set pieces; at most {MOST_PIECES} can be arranged"
        )
    weights = _weights(changed)
    found = arrange(
        routine, free=may_move, swap=may_trade, weights=weights, best=max(best, pick),
        lay=layer(opening),
    )  # fmt: skip
    if write is not None:
        if pick > len(found.answers):
            raise UsageError(f"--pick {pick}: only {len(found.answers)} orders were found")
        kept, as_it_was = _write(routine, file, found.answers[pick - 1], write)
    if as_json:
        print_json(_report(routine, found, weights))
        return
    _show(routine, found, said, [i for i in may_trade if not can_trade(routine.pieces[i])])
    if write is not None:
        console().print(f"Order {pick} written to {write}. {_then(found.answers[pick - 1])}")
        if kept is not None:
            console().say(f"What was there is kept as {kept}.")
        if not as_it_was:
            console().say(
                "Seconds were given up for traded decks, so the whole file is written "
                "anew, without its comments."
            )
        _say_what_it_lacks(write)


def _write(routine: Routine, file: Path, answer: Answer, target: Path) -> tuple[Path | None, bool]:
    """Write an order; where the old file is kept, and whether every other line is as it was."""
    wanted = _seen_from(arranged(routine, answer.items), file.parent, target.parent)
    order = [TextPlace(item.piece, item.swapped) for item in answer.items]
    renamed = {
        name: sound.file
        for name, sound in wanted.sounds.items()
        if sound.file != routine.sounds[name].file
    }
    data = rewritten(read_bytes(file).decode(), order, renamed).encode()
    try:
        as_it_was = read_routine(data) == wanted
    except RoutineError:
        as_it_was = False
    data = data if as_it_was else routine_text(wanted).encode()
    return write_keeping_old(target, data), as_it_was


def _say_what_it_lacks(written: Path) -> None:
    """A map put elsewhere names files outside its folder, which are read only when allowed."""
    try:
        load_routine(written)
    except RoutineError as error:
        console().say(str(error))


def _may_move(routine: Routine, free: tuple[str, ...]) -> tuple[frozenset[int], str]:
    """Set pieces that may move, and why in words."""
    named = _named(routine, free, "--free")
    marked = marked_free(routine)
    if named or marked:
        count = len(named | marked)
        return named | marked, f"{count} of {len(routine.pieces)} set pieces may move"
    return frozenset(range(len(routine.pieces))), (
        "no set piece is marked `order: free`, so all may move"
    )


def _named(routine: Routine, names: Iterable[str], option: str) -> frozenset[int]:
    chosen: set[int] = set()
    known = [piece.name for piece in routine.pieces]
    for name in names:
        if name == "all":
            chosen |= set(range(len(known)))
        elif name in known:
            chosen |= {i for i, other in enumerate(known) if other == name}
        else:
            raise UsageError(f"{option} {name}: no such set piece; there are {', '.join(known)}")
    return frozenset(chosen)


def _weights(changed: Iterable[str]) -> Weights:
    points: dict[str, int] = {}
    for text in changed:
        name, _, value = text.partition("=")
        if not value.isdigit() or int(value) > 10_000:
            raise UsageError(f"--weight {text}: NAME=POINTS with whole points to 10000 would do")
        points[name.strip()] = int(value)
    try:
        return weights_from(points)
    except KeyError as error:
        raise UsageError(f"--weight {error.args[0]}: one of {_WEIGHTS} would do") from error


def _report(routine: Routine, found: Arrangement, weights: Weights) -> dict[str, Any]:
    return {
        "title": routine.title,
        "exact": found.exact,
        "bound": found.bound,
        "gap": round(found.gap, 4),
        "weights": asdict(weights),
        "written": _plain(found.written),
        "answers": [_plain(answer) for answer in found.answers],
        "left_out": [routine.pieces[i].name for i in found.left_out],
        "laid_orders": found.laid_orders,
        "reasons": list(_reasons(found)),
    }


def _seen_from(routine: Routine, old: Path, new: Path) -> Routine:
    """The routine with its files named from another folder; absolute names stay."""

    def renamed(name: str) -> str:
        return name if os.path.isabs(name) else os.path.relpath(old / name, new)

    if old.resolve() == new.resolve():
        return routine
    sounds = {
        name: sound.model_copy(update={"file": renamed(sound.file)})
        for name, sound in routine.sounds.items()
    }
    changed: dict[str, object] = {"sounds": sounds}
    # Deck files still to be rendered belong to the new map; those that hold its cues are the old.
    if any(p.plan(side).placed for p in routine.pieces for side in p.sounding):
        decks: dict[str, object] = {}
        for side in SIDES:
            deck = routine.decks.of(side)
            decks[side] = deck.model_copy(update={"file": renamed(deck.file)})
        changed["decks"] = routine.decks.model_copy(update=decks)
    return routine.model_copy(update=changed)


def _plain(answer: Answer) -> dict[str, Any]:
    return {
        "cost": answer.cost,
        "by_term": answer.by_term,
        "order": [
            {"piece": item.piece, "name": item.taken.name, "swapped": item.swapped,
             "points": sum(points)}
            for item, points in zip(answer.items, answer.by_place, strict=True)
        ],
    }  # fmt: skip


def _show(routine: Routine, found: Arrangement, said: str, stuck: list[int]) -> None:
    out = console()
    out.print(Text(routine.title, style="bold"))
    out.print(f"{said}; fixed ones keep their place number.")
    if stuck:
        names = ", ".join(routine.pieces[i].name for i in stuck)
        out.print(f"Cannot trade decks, no sound named: {names}.")
    out.print()
    out.print(_cost_table(found))
    out.print(_order_table(found))
    out.say(*_reasons(found))
    if found.left_out:
        names = ", ".join(routine.pieces[i].name for i in found.left_out)
        out.say(f"Left out to keep the limit: {names}.")
    if found.laid_orders:
        count = found.laid_orders
        out.print(f"{count} orders were laid out as render would; the first costs least.")
    elif found.exact:
        out.print("The first is the best there is for these weights.")
    else:
        out.print(
            f"More than {EXACT_FREE} may move, so the first is good, not proven: no order costs"
            f" less than {found.bound} points, {100 * found.gap:.1f} % below it."
        )


def _reasons(found: Arrangement) -> Iterator[str]:
    """Why the first order, in sentences; a plain word when it is the written one."""
    best, written = found.answers[0], found.written
    if found.is_as_written:
        yield "The written order is already the best of those looked at."
        return
    if best.laid is not None and written.laid is not None:
        yield from against(best.laid, written.laid).says()
    saved = {
        term: written.by_term[term] - best.by_term[term]
        for term in written.by_term
        if term not in ("winding", "short", "tight", "energy", "tempo")
    }
    better = [TERM_WORDS[term] for term, points in saved.items() if points > 0]
    worse = [TERM_WORDS[term] for term, points in saved.items() if points < 0]
    if better:
        yield f"Less of: {', '.join(better)}."
    if worse:
        yield f"For that, more of: {', '.join(worse)}."


def _cost_table(found: Arrangement) -> Table:
    """What each order costs, term by term, beside the order as written."""
    every = [found.written, *found.answers]
    heads = ("as written", *map(str, range(1, len(found.answers) + 1)))
    table = report_table("Cost in points", "", *heads, right=heads)
    for term in found.written.by_term:
        if any(answer.by_term[term] for answer in every):
            table.add_row(TERM_WORDS[term], *(str(answer.by_term[term]) for answer in every))
    table.add_section()
    table.add_row("together", *(str(answer.cost) for answer in every), style="bold")
    return table


def _order_table(found: Arrangement) -> Table:
    """The orders side by side; what a set piece costs where it stands, decks traded marked."""
    table = report_table("Orders, with points at each place; ⇄ decks traded")
    table.add_column("", justify="right")
    for number in range(1, len(found.answers) + 1):
        table.add_column(str(number), ratio=1)
        table.add_column("", justify="right")
    for at in range(len(found.written.items)):
        cells: list[Text] = []
        for answer in found.answers:
            item = answer.items[at]
            name = f"⇄ {item.taken.name}" if item.swapped else item.taken.name
            cells += [Text(name), Text(str(sum(answer.by_place[at])))]
        table.add_row(Text(str(at + 1)), *cells)
    return table


def _then(answer: Answer) -> str:
    if any(item.swapped for item in answer.items):
        return "Decks were traded: render the deck files anew, and read the prompts again."
    return "The deck files stay as they are; read the prompts again, then check."
