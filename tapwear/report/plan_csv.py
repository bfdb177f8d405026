"""An outage plan as CSV that a spreadsheet opens safely: one row per job, fields as in `plan_data.PLAN_FIELDS`."""

from __future__ import annotations

import csv
import io

from tapwear.report.due_data import csv_cell
from tapwear.report.plan_data import PLAN_FIELDS, PlanView, job_rows, stop_rows


def plan_csv(view: PlanView) -> str:
    """CSV text with a heading line; jobs that found no place have a blank start week and say what stops them.

    First come the units whose stop stands, with nothing but that and who decides.

    A text cell that begins like a formula (= + - @) is given an apostrophe before it; numbers never are.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(PLAN_FIELDS)
    for one in stop_rows(view.result):
        told = {"stop": one.stop, "unit": one.unit, "station": one.station, "why": one.words, "stopped_by": one.reason}
        writer.writerow([csv_cell(told.get(name, "")) for name in PLAN_FIELDS])
    for row in job_rows(view.result):
        writer.writerow([csv_cell(_one_cell(getattr(row, name))) for name in PLAN_FIELDS])
    return out.getvalue()


def _one_cell(value: object) -> object:
    return "; ".join(value) if isinstance(value, tuple) else value
