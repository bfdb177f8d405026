"""The schema version that this program reads and writes: the number of the newest step in tapwear.store.migrate."""

LATEST = 3
