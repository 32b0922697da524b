"""The exceptions that reach the performer. May import: nothing."""


class LiveaidError(Exception):
    """Something the performer can mend: said in one message, exit status 1."""

    exit_code = 1


class UsageError(LiveaidError):
    """The command was called in a way that cannot be meant: exit status 2."""

    exit_code = 2
