"""An empty store for each test, copied from one made once."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tapwear.store.engine import Store, create_store, open_store


@pytest.fixture(scope="session")
def empty_store_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("store") / "empty.db"
    create_store(path).close()
    return path


@pytest.fixture
def empty_store(empty_store_file: Path, tmp_path: Path) -> Store:
    return open_store(Path(shutil.copy(empty_store_file, tmp_path / "fleet.db")))
