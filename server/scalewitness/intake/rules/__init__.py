"""One rule a kind of fact: may this actor say this, about this, at that time?

A rule refuses before it writes anything. It returns the fact's log position, or None
when the fact is held for a person's decision.
"""
