"""Cuts the connection to a server around COMMIT and anywhere else: never a false word, and a retry adds nothing.

TAPWEAR_TEST_SERVER=postgresql://... python tests/trust/cuts.py [--cuts 200] [--seed 1]
"""

from __future__ import annotations

import argparse
import os
import random
import socket
import sys
import tempfile
import threading
from collections import Counter
from contextlib import suppress
from datetime import date, timedelta
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1] / "cli")]

import sqlalchemy as sa  # noqa: E402
from desk_store import make_desk, run  # noqa: E402

from tapwear.store.server import connect_to, open_on_server, read_url  # noqa: E402

WAYS = ("before the commit", "after the commit", "after the commit, and nobody answers then", "anywhere")


class Cutting:
    """A relay on this machine to the server; cuts one connection at its place, once it has been told to."""

    def __init__(self, url: str) -> None:
        self._to = read_url(url)
        self._listens = socket.create_server(("127.0.0.1", 0))
        self.way, self.place, self.dead = "", 0, False
        threading.Thread(target=self._accept, daemon=True).start()

    @property
    def url(self) -> str:
        port = self._listens.getsockname()[1]
        return f"postgresql://{self._to.username}@127.0.0.1:{port}/{self._to.database}"

    def _server(self) -> socket.socket:
        folder = str(self._to.query.get("host", ""))
        number = int(str(self._to.query.get("port", self._to.port or 5432)))
        if folder.startswith("/"):
            made = socket.socket(socket.AF_UNIX)
            made.connect(f"{folder}/.s.PGSQL.{number}")
            return made
        return socket.create_connection((self._to.host or "127.0.0.1", number))

    def _accept(self) -> None:
        while True:
            client, _ = self._listens.accept()
            if self.dead:
                client.close()
                continue
            threading.Thread(target=self._relay, args=(client, self._server()), daemon=True).start()

    def _relay(self, client: socket.socket, server: socket.socket) -> None:
        gone = threading.Event()

        def back() -> None:
            try:
                while data := server.recv(65536):
                    if gone.is_set():  # its answer is lost
                        break
                    client.sendall(data)
            except OSError:
                pass
            self._close(client, server)

        threading.Thread(target=back, daemon=True).start()
        sent, wrote = 0, False
        try:
            while data := client.recv(65536):
                sent += 1
                wrote = wrote or b"INSERT" in data
                commit = wrote and b"COMMIT" in data
                if (self.way.startswith("before") and commit) or (self.way == "anywhere" and sent == self.place):
                    self.way = ""
                    break
                if self.way.startswith("after") and commit:
                    self.dead = "nobody" in self.way
                    self.way = ""
                    gone.set()
                    server.sendall(data)
                    return
                server.sendall(data)
        except OSError:
            pass
        self._close(client, server)

    @staticmethod
    def _close(*sockets: socket.socket) -> None:
        for one in sockets:
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()


def main(url: str, cuts: int, seed: int) -> Counter[tuple[str, str]]:
    """Tries that many cuts on the empty database of that URL; counts what was said and what was so."""
    rng = random.Random(seed)
    with tempfile.TemporaryDirectory() as name:
        desk = make_desk(Path(name))
        assert run(desk, "dump", f"{name}/d").exit_code == 0
        assert run(url, "restore", f"{name}/d").exit_code == 0
    relay, told = Cutting(url), Counter[tuple[str, str]]()
    for number in range(cuts):
        day = date(2025, 4, 2) + timedelta(days=number)
        given = [
            ("log", "BW-T1", str(40000 + 20 * number), "--on", str(day), "--sure", "x"),
            ("visit", "BW-T1", "--counter", str(40000 + 20 * number), "--on", str(day), "--sure", "x"),
            ("condition", "add", "BW-T1", "other", "--words", f"seen {number}", "--on", str(day)),
        ]
        words = given[number % len(given)]
        before = counted(url)
        relay.way, relay.place = WAYS[number % len(WAYS)], rng.randrange(2, 60)
        way = relay.way
        done = run(relay.url, *words)
        relay.way, relay.dead = "", False
        added = counted(url) - before
        assert done.exception is None or isinstance(done.exception, SystemExit), repr(done.exception)
        unknown = "not known" in done.stderr
        assert done.exit_code in (0, 4), done.output
        if done.exit_code == 0:
            assert added > 0, (way, done.output)
        elif not unknown:
            assert added == 0, (way, done.output)
        again = run(url, *words)
        assert again.exit_code in (0, 3), again.output
        assert counted(url) - before in (1, 2), (way, done.output, again.output)  # a visit, and its reading
        told[way, "recorded" if done.exit_code == 0 else "not known" if unknown else "nothing changed"] += 1
    return told


def counted(url: str) -> int:
    """Rows of what is recorded here."""
    with open_on_server(url).rows() as connection:
        tables = ("reading", "visit", "condition")
        return sum(
            int(connection.execute(sa.select(sa.func.count()).select_from(sa.table(name))).scalar_one())
            for name in tables
        )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cuts", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    main_url = read_url(os.environ["TAPWEAR_TEST_SERVER"])
    beside = connect_to(main_url).execution_options(isolation_level="AUTOCOMMIT")
    with beside.connect() as connection:
        connection.execute(sa.text("DROP DATABASE IF EXISTS tapwear_cuts"))
        connection.execute(sa.text("CREATE DATABASE tapwear_cuts"))
    target = main_url.set(database="tapwear_cuts").render_as_string(hide_password=False).replace("+psycopg", "")
    for (way, what), number in sorted(main(target, asked.cuts, asked.seed).items()):
        print(f"{way}: {what}: {number}")
