"""The sheet to print: set pieces, cues, stickers, prompts, what lies on each record, clearance.

One self-contained HTML file: no script, nothing fetched. Every text from the map is escaped.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape
from importlib import resources

from liveaid.record.platter import sticker_place
from liveaid.render.acts_picture import acts_pictures
from liveaid.routine import SIDES, Piece, Rests, Routine, Side, Works
from liveaid.routine.acts import sounds_used, sounds_worked
from liveaid.routine.check import Change, changes, open_question, turns_text
from liveaid.routine.check.clearance import CAUTION
from liveaid.routine.layout.deck import DeckLayout
from liveaid.routine.model import clock_time
from liveaid.routine.timeline import starts_s
from liveaid.routine.way import next_change
from liveaid.routine.written_numbers import bars_said


@dataclass(frozen=True, slots=True)
class Printed:
    """What the sheet is made from: the placed routine and its two laid-out decks."""

    routine: Routine
    layouts: dict[Side, DeckLayout]
    rate_hz: int


def sheet_html(printed: Printed) -> str:
    """The whole sheet as one HTML document."""
    routine = printed.routine
    style = resources.files("liveaid.render").joinpath("sheet.css").read_text(encoding="utf-8")
    body = [_head(printed), _set_pieces(printed)]
    body += [_record(printed, side) for side in SIDES]
    body.append(_clearance(routine))
    return (
        '<!doctype html>\n<html lang="en">\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(routine.title)}: sheet</title>\n<style>\n{style}</style>\n"
        + "\n".join(body)
        + "\n</html>\n"
    )


def deck_time(seconds: float) -> str:
    """A deck-file second as it is read off: minutes, seconds, thousandths."""
    whole = round(seconds * 1000)
    minutes, rest = divmod(whole, 60_000)
    return f"{minutes}:{rest // 1000:02d}.{rest % 1000:03d}"


def _head(printed: Printed) -> str:
    routine = printed.routine
    lasts = clock_time(round(routine.duration_s))
    limit = f" of {clock_time(routine.limit_s)} allowed" if routine.limit_s else ""
    rpm = routine.turntable.rpm
    facts = [
        f"{len(routine.pieces)} set pieces, {lasts}{limit}",
        f"{rpm:.4g} turns a minute, {routine.turntable.turn_s:.4g} s a turn",
        f"{routine.metre} beats a bar",
    ]
    if routine.idea and routine.idea.theme:
        facts.append(routine.idea.theme)
    listed = "".join(f"<li>{escape(fact)}</li>" for fact in facts)
    return f"<header><h1>{escape(routine.title)}</h1><ul>{listed}</ul></header>"


def _set_pieces(printed: Printed) -> str:
    routine = printed.routine
    moves = {(move.after, move.side): move for move in changes(routine)}
    starts = starts_s(routine)
    rows = [
        _row(printed, index, piece, starts[index], moves)
        for index, piece in enumerate(routine.pieces)
    ]
    return (
        '<table class="pieces"><caption>Set pieces</caption><thead><tr><th>at<th>set piece'
        "<th>left deck<th>right deck</tr></thead><tbody>" + "".join(rows) + "</tbody></table>"
    )


def _row(
    printed: Printed,
    index: int,
    piece: Piece,
    start_s: float,
    moves: dict[tuple[int, Side], Change],
) -> str:
    technique = f"{escape(piece.technique)} · " if piece.technique else ""
    prompt = f'<p class="prompt">{escape(piece.prompt)}</p>' if piece.prompt else ""
    bars = bars_said(piece.bars)
    about = (
        f"<h2><b>{index + 1}</b> {escape(piece.name)}</h2>"
        f"<p>{technique}{bars} at {piece.tempo_bpm:g} BPM · {piece.part}, energy {piece.energy} · "
        f"count: {piece.count}</p>{prompt}"
    )
    cells = "".join(_cell(printed, index, side, moves.get((index, side))) for side in SIDES)
    acts = acts_pictures(printed.routine, index)
    drawn = f'<tr class="acts"><td colspan="4">{acts}</tr>' if acts else ""
    return f"<tr><th scope=row>{clock_time(round(start_s))}<td>{about}{cells}</tr>{drawn}"


def _cell(printed: Printed, index: int, side: Side, move: Change | None) -> str:
    plan = printed.routine.pieces[index].plan(side)
    if isinstance(plan, Rests) or plan.cue_s is None:
        return f'<td class="rests"><p>rests</p>{_wind_ahead(printed, index, side)}'
    cue = deck_time(plan.cue_s)
    turn, degrees = sticker_place(plan.cue_s, printed.routine.turntable.rpm)
    wind = f"<p>{escape(_wind(move))}</p>" if move else ""
    span = f"<p>span {plan.span_s or 0.0:.2f} s</p>" if isinstance(plan, Works) else ""
    sounds = " + ".join(sounds_worked(printed.routine, index, side))
    return (
        f'<td class="{plan.hand}">{_dial(degrees)}<p><b>{plan.hand}</b> {escape(sounds)}</p>'
        f'<p class="cue">{cue}</p><p>turn {turn}, sticker {degrees}°</p>{span}{wind}'
    )


def _wind(move: Change) -> str:
    """How the record comes to its cue."""
    if move.way == "set before":
        return "set before the start"
    if move.way == "runs on":
        return "there by itself"
    if move.way is None:
        return "not placed"
    if move.needed_s == 0.0:
        return "there under the hand"
    tight = "" if move.verdict == "easy" else f", {move.verdict}"
    means = " by the needle" if move.way == "needle" else ""
    return f"wound {turns_text(move)} turns{means} in {move.available_beats:g} beats{tight}"


def _wind_ahead(printed: Printed, index: int, side: Side) -> str:
    """What a resting record is brought to, or that it is let run: never both."""
    move = next_change(printed.routine, side, index)
    if move is None or move.cue_s is None:
        return "<p>done</p>"
    name = f"{move.after + 1} {escape(printed.routine.pieces[move.after].name)}"
    if move.way == "runs on":
        return f"<p>let it run: there by itself for {name}</p>"
    turn, degrees = sticker_place(move.cue_s, printed.routine.turntable.rpm)
    return f"<p>next: {name}</p><p>{deck_time(move.cue_s)}, turn {turn}, sticker {degrees}°</p>"


def _dial(degrees: int) -> str:
    """A platter seen from above with its sticker: 0° at the needle's side, clockwise."""
    return (
        '<svg class="dial" viewBox="-12 -12 24 24" aria-hidden="true"><circle r="10"/>'
        f'<line x1="0" y1="-3" x2="0" y2="-10" transform="rotate({degrees})"/>'
        '<circle class="pin" r="1.2"/></svg>'
    )


def _record(printed: Printed, side: Side) -> str:
    """What lies on one record, from its start to its end."""
    layout = printed.layouts[side]
    rpm, rate = printed.routine.turntable.rpm, printed.rate_hz
    rows = []
    for laid in layout.laid:
        cue_s = laid.begin / rate + laid.passage.cue_s
        turn, degrees = sticker_place(cue_s, rpm)
        names = (
            f"{use.use.piece + 1} {printed.routine.pieces[use.use.piece].name}"
            for use in laid.passage.uses
        )
        sounds = laid.passage.sounds
        cells = [
            deck_time(cue_s),
            f"{turn}",
            f"{degrees}°",
            " + ".join(sounds),
            f"{laid.length / rate:.2f} s",
            ", ".join(names),
        ]
        rows.append("<tr>" + "".join(f"<td>{escape(cell)}" for cell in cells) + "</tr>")
    if not rows:
        return f"<section><h3>The {side} record</h3><p>Nothing lies on it.</p></section>"
    length = deck_time(layout.frames / rate)
    bar = _strip(printed, layout)
    return (
        f'<section><table class="record"><caption>The {side} record, {length} long</caption>'
        "<thead><tr><th>cue<th>turn<th>sticker<th>sound<th>lasts<th>set pieces</tr></thead><tbody>"
        + "".join(rows)
        + f"</tbody></table>{bar}</section>"
    )


def _strip(printed: Printed, layout: DeckLayout) -> str:
    """The record drawn as a strip: sound where there is sound, the cues marked."""
    width = 1000.0
    scale = width / max(layout.frames, 1)
    boxes, marks = [], []
    for laid in layout.laid:
        x, w = laid.begin * scale, laid.length * scale
        boxes.append(f'<rect x="{x:.1f}" y="8" width="{max(w, 1.5):.1f}" height="16"/>')
        number = laid.passage.uses[0].use.piece + 1
        cue = x + laid.passage.cue_s * printed.rate_hz * scale
        marks.append(f'<path d="M{cue:.1f} 4v22"/><text x="{cue + 3:.1f}" y="38">{number}</text>')
    return (
        f'<svg class="strip" viewBox="0 0 {width:g} 42" role="img" aria-label="the record as a '
        f'strip, cues numbered by set piece"><path class="groove" d="M0 16H{width:g}"/>'
        + "".join(boxes + marks)
        + "</svg>"
    )


def _clearance(routine: Routine) -> str:
    rows = []
    for name, places in sounds_used(routine).items():
        sound = routine.sounds[name]
        question = open_question(sound)
        rows.append(
            _cells(
                [
                    name,
                    sound.source or "not stated",
                    sound.licence or "not stated",
                    ", ".join(dict.fromkeys(str(index + 1) for index, _, _ in places)),
                    "to be cleared: " + question if question else "nothing open that we know of",
                ],
                "open" if question else "",
            )
        )
    caution = CAUTION[0].upper() + CAUTION[1:] + "."
    return (
        '<section class="clearance"><table><caption>Clearance</caption><thead><tr><th>sound'
        "<th>source<th>licence<th>set pieces<th>state</tr></thead><tbody>"
        + "".join(rows)
        + f"</tbody></table><p>{escape(caution)} This list repeats what the map says and is no "
        "legal advice.</p></section>"
    )


def _cells(cells: Iterable[str], mark: str) -> str:
    return f'<tr class="{mark}">' + "".join(f"<td>{escape(cell)}" for cell in cells) + "</tr>"
