"""`python -m liveaid`: the command line, where its own script is not at hand."""

from __future__ import annotations

from liveaid.cli import main

if __name__ == "__main__":
    main()
