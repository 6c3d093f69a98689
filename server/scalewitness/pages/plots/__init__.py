"""Drawings of the evidence: values in, SVG markup out.

No script and no style attribute; every drawing says in its ``desc`` all that it shows, is
320 units wide and scales to the place it is given, and rests on shape, pattern and words,
never on colour.
"""
