"""Care for hands and ears: when to take a break, and what a booth's level does in a day.

Rules of thumb, not medical advice: local rules and a clinician come first.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

HANDS_ON_S = 25 * 60.0
"""Hands-on time after which a break is due (common practice, no source)."""
BREAK_S = 5 * 60.0
"""Hands off for this long is a break (common practice, no source)."""
STILL_S = 2.0
"""Hands are off when no record has been moved for this long."""

LIMIT_DBA = 85.0
LIMIT_H = 8.0
EXCHANGE_DB = 3.0
LOWEST_DBA, HIGHEST_DBA = 80.0, 140.0
"""Levels that count: NIOSH 98-126 sums from 80 to 140 dBA; nothing above 140 is allowed at all."""

HANDS_CAUTION = (
    "Rule of thumb, not medical advice. Pain, numbness or tingling means stop now, and see a "
    "clinician when it comes back."
)
EARS_CAUTION = (
    "A dose by NIOSH 98-126 from the level you entered, not a measurement. Local rules come first. "
    "Ringing or dull hearing means leave the noise; see a clinician when it stays."
)


@dataclass(frozen=True, slots=True)
class HandsOn:
    """Time with hands on the records: since the last break, and in all."""

    since_break_s: float = 0.0
    total_s: float = 0.0
    last_moved_s: float | None = None

    def moved(self, now: float) -> HandsOn:
        """A record is being moved or played at this monotonic second."""
        if self.last_moved_s is None:
            return replace(self, last_moved_s=now)
        gap = max(0.0, now - self.last_moved_s)
        since = 0.0 if gap >= BREAK_S else self.since_break_s
        worked = gap if gap <= STILL_S else 0.0
        return HandsOn(since + worked, self.total_s + worked, now)

    def break_due(self, now: float, *, after_s: float = HANDS_ON_S) -> bool:
        """Whether a break is due, hands not having been off long enough since."""
        if self.last_moved_s is None or now - self.last_moved_s >= BREAK_S:
            return False
        return self.since_break_s >= after_s


def today(now: float) -> str:
    """The local day of a unix time, ISO 8601."""
    return date.fromtimestamp(now).isoformat()


@dataclass(frozen=True, slots=True)
class DayOfHands:
    """Hands-on time of a day, and the noise it was in."""

    hands_on_s: float
    booth_dba: float | None = None
    """The level where the performer stands; None when nobody said."""

    @property
    def dose_percent(self) -> float | None:
        """The day's noise dose; None without a level."""
        if self.booth_dba is None:
            return None
        return dose_percent([(self.booth_dba, self.hands_on_s / 3600.0)])

    @property
    def noise(self) -> str | None:
        """One line on the day's noise; None without a level."""
        if self.booth_dba is None:
            return None
        return noise_line(self.booth_dba, self.hands_on_s / 3600.0)


def allowed_h(level_dba: float) -> float:
    """Hours a day at a steady level, T = 8 / 2 ** ((L - 85) / 3) (NIOSH 98-126, section 1.1.3).

    Infinite below 80 dBA, which the dose does not count; none above 140 dBA.
    """
    if level_dba < LOWEST_DBA:
        return float("inf")
    if level_dba > HIGHEST_DBA:
        return 0.0
    return float(LIMIT_H / 2.0 ** ((level_dba - LIMIT_DBA) / EXCHANGE_DB))


def dose_percent(spells: Iterable[tuple[float, float]]) -> float:
    """Daily dose in per cent of (level in dBA, hours) spells: 100 * sum(C / T)."""
    dose = 0.0
    for level_dba, hours in spells:
        allowed = allowed_h(level_dba)
        if hours > 0:
            dose += hours / allowed if allowed > 0 else float("inf")
    return 100.0 * dose


def noise_line(level_dba: float, hours: float) -> str:
    """One line on today's noise at a booth level, with how long is left."""
    dose = dose_percent([(level_dba, hours)])
    allowed = allowed_h(level_dba)
    if allowed == 0:
        return f"{level_dba:g} dBA: nobody should be in this noise at all. {EARS_CAUTION}"
    if allowed == float("inf"):
        return f"{level_dba:g} dBA: below the levels the dose counts. {EARS_CAUTION}"
    left = max(0.0, allowed - hours)
    state = f"{_spell(left)} left today" if left > 0 else "over the daily limit: stop, or turn down"
    return f"{level_dba:g} dBA: {dose:.0f} % of the daily dose, {state}. {EARS_CAUTION}"


def _spell(hours: float) -> str:
    minutes = int(hours * 60)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"
