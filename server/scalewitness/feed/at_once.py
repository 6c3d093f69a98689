"""How many look at the feed at once."""

from typing import Final

LOOKS: Final = 4
"""Of those who ask with a wait, in one process: it can do no more, and those behind them need no
connection to the database meanwhile (our judgement)."""
