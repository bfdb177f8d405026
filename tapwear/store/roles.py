"""Who may do what in a team's database: roles of PostgreSQL, and what each is granted. Made from the tables there are.

A new table of the book goes to the technicians, unless it is named here as somebody else's.
"""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.backup import quoted
from tapwear.store.guards import RELEASED
from tapwear.store.trail import book_tables

READER, TECHNICIAN, SCHEDULER, PLANNER, ENGINEER = (
    f"tapwear_{name}" for name in ("reader", "technician", "scheduler", "planner", "engineer")
)
ROLES = {
    READER: "reads everything, writes nothing",
    TECHNICIAN: "adds to the book of visits: readings, samples, services, events, conditions, visits, follow-ups",
    SCHEDULER: "sets limits, intervals, visit rules and rate settings, records deferrals, keeps snapshots",
    PLANNER: "makes and publishes plans, and gives what they rest on",
    ENGINEER: "releases stops, beside what a technician adds",
}
# Tables whose rows anybody who adds to them may record, but only this role may end by another row.
RELEASED_BY = {"stop": ENGINEER}
_ENTRY = ("entry", "entry_row")
_OF_SCHEDULER = ("oil_limit", "deferral", "rate_setting")
_RULES = ("service_rule", "visit_rule")
_OF_PLANNER = (
    *("yearly_closure", "team", "team_holiday", "resource", "outage_terms", "other_outage", "job_note", "plan_cost"),
    "plan_publication",
)
_PLANS = ("plan", "plan_job")
_SITES = ("closure", "transfer_group_member", "crew_week")  # what is so now: given, changed and dropped
_OF_KEEPER = ("stay", "fitting")  # where units stand: with the register, the owner's


def grants(connection: Connection) -> list[str]:
    """The statements that make the roles and give each what it needs; running them again does no harm."""
    there = set(sa.inspect(connection).get_table_names())
    book = [name for name in book_tables(connection) if name not in (*_OF_SCHEDULER, *_OF_PLANNER, *_OF_KEEPER)]
    adds = {
        TECHNICIAN: (*book, "counter", *_ENTRY),
        ENGINEER: (*book, "counter", *_ENTRY),
        SCHEDULER: (*_OF_SCHEDULER, *_RULES, "register_change", "snapshot", *_ENTRY),
        PLANNER: (*_OF_PLANNER, *_PLANS, *_SITES, "register_change", "snapshot", *_ENTRY),
    }
    changes = {SCHEDULER: {name: "UPDATE" for name in _RULES}, PLANNER: {name: "UPDATE, DELETE" for name in _SITES}}
    schema = connection.exec_driver_sql("SELECT current_schema()").scalar()
    listed: list[str] = []
    for role in ROLES:
        missing = f"NOT EXISTS (SELECT 1 FROM pg_roles WHERE rolname = '{role}')"  # noqa: S608 - our own names
        listed.append(f"DO $$ BEGIN IF {missing} THEN CREATE ROLE {role} NOLOGIN; END IF; END $$")
        listed.append(f"GRANT USAGE ON SCHEMA {quoted(str(schema))} TO {role}")
        for what in ("TABLES", "SEQUENCES"):
            listed.append(f"GRANT SELECT ON ALL {what} IN SCHEMA {quoted(str(schema))} TO {role}")
        for table in sorted(set(adds.get(role, ())) & there):
            also = changes.get(role, {}).get(table)
            listed.append(f"GRANT INSERT{f', {also}' if also else ''} ON {quoted(table)} TO {role}")
            listed += _sequence(connection, table, role)
    return listed + [one for table, role in RELEASED_BY.items() if table in there for one in _releases(table, role)]


def _sequence(connection: Connection, table: str, role: str) -> list[str]:
    """The numbering of a table's rows, which whoever adds to it uses."""
    query = sa.select(sa.func.pg_get_serial_sequence(quoted(table), "id"))
    name = connection.execute(query).scalar()
    return [f"GRANT USAGE ON SEQUENCE {name} TO {role}"] if name else []


def _releases(table: str, role: str) -> tuple[str, ...]:
    """A row that ends another is refused to whoever has not the role."""
    function, name = f"tapwear_released_{table}", f"{table}{RELEASED}"
    return (
        f"CREATE OR REPLACE FUNCTION {function}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF NEW.supersedes_id IS NOT NULL AND NOT pg_has_role(session_user, '{role}', 'MEMBER') THEN "
        f"RAISE EXCEPTION 'permission denied: a {table} is released by {role} only'; END IF; RETURN NEW; END $$",
        f"DROP TRIGGER IF EXISTS {name} ON {quoted(table)}",
        f"CREATE TRIGGER {name} BEFORE INSERT ON {quoted(table)} FOR EACH ROW EXECUTE FUNCTION {function}()",
    )


def apply(connection: Connection) -> None:
    """Runs the statements of `grants`; it takes the owner of the tables who may also make roles."""
    for statement in grants(connection):
        connection.exec_driver_sql(statement.replace("%", "%%"))
