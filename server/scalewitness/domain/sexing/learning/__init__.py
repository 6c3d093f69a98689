"""Numbers learned from the record itself: from animals whose sex confirmed proof settled.

Pure: settled animals in, numbers out. Whoever adopts them logs every number as it was rounded,
and :func:`numbers.with_learned` makes of those what a standing is worked out with, so that replay
is exact. Only learning needs NumPy, not what was learned.
"""
