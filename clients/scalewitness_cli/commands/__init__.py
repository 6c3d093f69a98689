"""One module per command of ``scalewitness``."""
