"""Five roles of a team on a real server: each command that writes is refused or allowed as the README says."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
import sqlalchemy as sa

sys.path[:0] = [str(Path(__file__).parents[1] / "cli")]

from desk_store import make_desk, run  # noqa: E402
from test_cli_twice import WRITING  # noqa: E402

from tapwear.store.roles import ENGINEER, PLANNER, READER, ROLES, SCHEDULER, TECHNICIAN  # noqa: E402
from tapwear.store.server import connect_to, open_on_server, read_url  # noqa: E402

ADDS, RULES, PLANS, NOBODY = {TECHNICIAN, ENGINEER}, {SCHEDULER}, {PLANNER}, set[str]()
ALLOWED = {
    **dict.fromkeys(("log", "visit", "sample", "service", "event", "condition", "followups", "amend"), ADDS),
    **dict.fromkeys(("defer", "limits", "visit-rule"), RULES),
    "snapshot": {SCHEDULER, PLANNER},
    "undo": {TECHNICIAN, ENGINEER, SCHEDULER, PLANNER},  # what one recorded oneself
    "plan": PLANS,
    "unit": NOBODY,  # the owner's
}


@pytest.mark.slow
@pytest.mark.parametrize("role", ROLES)
def test_each_role_does_what_the_table_says_and_no_more(role: str, empty_database: str, tmp_path: Path) -> None:
    desk = make_desk(tmp_path)
    assert run(desk, "dump", str(tmp_path / "d")).exit_code == 0
    assert run(empty_database, "restore", str(tmp_path / "d")).exit_code == 0
    assert run(empty_database, "log", "AH-T1", "47990", "--on", "2026-06-15", "--sure", "seen").exit_code == 0
    for _ in range(2):  # again does no harm
        done = run(empty_database, "server", "roles", "--apply")
        assert done.exit_code == 0, done.output
    person = f"{role}_somebody"
    owner = connect_to(read_url(empty_database)).execution_options(isolation_level="AUTOCOMMIT")
    with owner.connect() as connection:
        connection.execute(sa.text(f'DROP ROLE IF EXISTS "{person}"'))
        connection.execute(sa.text(f'CREATE ROLE "{person}" LOGIN IN ROLE {role}'))
    url = read_url(empty_database).set(username=person).render_as_string(hide_password=False).replace("+psycopg", "")
    assert run(url, "due").exit_code == 0
    assert run(url, "check").exit_code == 0
    for words in WRITING:
        before = counts(empty_database)
        done = run(url, *words)
        if role in ALLOWED[words[0]]:
            assert done.exit_code in (0, 6), (words, done.output)
            assert counts(empty_database) != before or words == ("snapshot",), words  # a plan has kept the same one
        else:
            refused = done.exit_code == 4 and "grant what is needed" in done.stderr
            assert refused or (words[0] == "undo" and done.exit_code == 2), (words, done.output)
            assert counts(empty_database) == before, words
    assert run(url, "import", str(tmp_path / "readings.csv")).exit_code == 4
    with open_on_server(url).rows() as connection:
        users = connection.exec_driver_sql("SELECT DISTINCT database_user FROM entry").fetchall()
    assert (person,) in users or role == READER
    for statement in ("UPDATE reading SET value = 1", "DELETE FROM entry", "DROP TABLE stay", "TRUNCATE reading"):
        with pytest.raises(sa.exc.DBAPIError), open_on_server(url).engine.begin() as connection:
            connection.exec_driver_sql(statement)
    with owner.connect() as connection:
        connection.execute(sa.text(f'DROP ROLE "{person}"'))


@pytest.mark.slow
def test_a_stop_is_raised_by_whoever_visits_and_released_by_the_engineer_alone(
    empty_database: str, tmp_path: Path
) -> None:
    desk = make_desk(tmp_path)
    assert run(desk, "dump", str(tmp_path / "d")).exit_code == 0
    assert run(empty_database, "restore", str(tmp_path / "d")).exit_code == 0
    assert run(empty_database, "stop", "raise", "AH-T1", "--because", "smell of burnt oil").exit_code == 0
    assert run(empty_database, "server", "roles", "--apply").exit_code == 0
    owner = connect_to(read_url(empty_database)).execution_options(isolation_level="AUTOCOMMIT")
    release = ("stop", "release", "AH-T1", "--by", "K. Arden", "--because", "contacts renewed", "--cleared")
    past = (
        "INSERT INTO stop (uid, recorded_at, recorded_by, reason, withdrawn, supersedes_id, tap_changer_id, opened_on, "
        "cause, words, work_engineer, work_words, cleared_on, cleared_engineer, cleared_words) SELECT 'past', now(), "
        "'Kim', '', false, id, tap_changer_id, opened_on, cause, words, '', '', current_date, 'Kim', 'x' FROM stop"
    )
    for role in (READER, SCHEDULER, PLANNER, TECHNICIAN, ENGINEER):
        person = f"{role}_at_stop"
        with owner.connect() as connection:
            connection.execute(sa.text(f'DROP ROLE IF EXISTS "{person}"'))
            connection.execute(sa.text(f'CREATE ROLE "{person}" LOGIN IN ROLE {role}'))
        url = read_url(empty_database).set(username=person).render_as_string(hide_password=False)
        if role in (TECHNICIAN, ENGINEER):
            assert run(url, "stop", "raise", "AH-T2", "--because", f"noise, {role}").exit_code in (0, 2, 3), role
        if role != ENGINEER:
            before = counts(empty_database)
            done = run(url, *release)
            assert done.exit_code == 4, (role, done.output)
            assert "grant what is needed" in " ".join(done.stderr.split()), done.stderr
            refused = pytest.raises(sa.exc.DBAPIError, match="permission denied")
            with refused, open_on_server(url).engine.begin() as connection:
                connection.exec_driver_sql(past)
            assert counts(empty_database) == before
        else:
            done = run(url, *release)
            assert done.exit_code == 0, done.output
        with owner.connect() as connection:
            connection.execute(sa.text(f'DROP ROLE "{person}"'))
    with open_on_server(empty_database).rows() as connection:
        users = connection.exec_driver_sql(
            "SELECT database_user FROM entry JOIN entry_row ON entry_id = entry.id JOIN stop ON row_id = stop.id "
            "WHERE table_name = 'stop' AND cleared_on IS NOT NULL"
        ).fetchall()
    assert users == [(f"{ENGINEER}_at_stop",)]


def counts(url: str) -> dict[str, int]:
    with open_on_server(url).rows() as connection:
        names = sa.inspect(connection).get_table_names()
        return {name: connection.exec_driver_sql(f'SELECT count(*) FROM "{name}"').scalar_one() for name in names}  # noqa: S608


def test_a_name_cannot_be_signed_with_another_database_user(server_store: object) -> None:
    from tapwear.store.engine import Store

    assert isinstance(server_store, Store)
    with server_store.rows(writing=True) as connection:
        connection.exec_driver_sql(
            "INSERT INTO entry (uid, recorded_at, recorded_by, database_user) VALUES ('a', now(), 'Kim', 'boss')"
        )
        assert connection.exec_driver_sql("SELECT database_user = session_user FROM entry").scalar_one() is True
