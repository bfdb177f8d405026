"""Several processes write while another lists and exports. The long run is `python tests/trust/many.py`."""

from __future__ import annotations

from pathlib import Path

import many


def test_many_writers_at_once_lose_nothing_and_nobody_is_told_that_it_is_locked(tmp_path: Path) -> None:
    found = many.run(tmp_path, writers=4, visits=40, commands=2)
    assert found.rows == 4 * (40 + 4) + 2
    assert found.rounds >= 1
