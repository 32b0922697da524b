"""liveaid: from first idea to stage, one map for a routine on two turntables."""

__version__ = "0.1.0"
