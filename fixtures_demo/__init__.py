"""An invented scenario, loaded through the public REST API, and four stories played on it.

``python -m fixtures_demo.load --url URL --maildir DIR`` plays ``data/`` as its keepers
would have sent it.
``python -m fixtures_demo.stories --url URL --maildir DIR`` plays the product's promises with
fresh people and animals, and stops at the first that is not kept.

How loading twice stays safe:

- Every id is derived from its key in the data (`fixtures_demo.fixed`), so the record answers
  a repeat with ``duplicate``.
- All times count from one day, the day of the first run. It is part of the
  name of the first keeper's device, and read back from the list of devices.
- What the record itself completes (offers, visits whose window had to move) is looked up
  first and skipped when it is there.
- Steps are sent in order, so once the last call is in the record, all of it is.
"""
