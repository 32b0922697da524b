"""follow: where in the routine the performer is, from both decks' positions.

May import: record, routine, numpy. No clock, file, socket, thread.
Used by stage, practice, simulate.
Method: bar-pointer HMM run forward (Whiteley, Cemgil, Godsill 2006).
"""

from liveaid.follow.follower import Follower
from liveaid.follow.hearing import Sends
from liveaid.follow.prompt import Prompt

__all__ = ["Follower", "Prompt", "Sends"]
