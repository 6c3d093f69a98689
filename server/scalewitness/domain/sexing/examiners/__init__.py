"""How far to trust examiners: their records, their agreement, their drift, their proof.

Everything is a function of values. Random starts and resampling take the NumPy generator
they are given; nothing here keeps one.
"""
