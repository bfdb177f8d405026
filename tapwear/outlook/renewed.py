"""How long each next interval lasts: the outlook as if every task of every unit were done on one day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd

from tapwear.outlook.build import Ground, answer
from tapwear.outlook.rules import questions
from tapwear.outlook.types import Outlook


def renewed_outlook(
    units: pd.DataFrame,
    rules: pd.DataFrame,
    services: pd.DataFrame,
    events: pd.DataFrame,
    ground: Ground,
    as_of: date,
) -> Outlook:
    """The outlook with `as_of` as the day of every last service: intervals and the present rate alone tell the dates.

    Frames as in tapwear.store.book. What the oil shows now and what people noted is left out: the work settles it, and
    what will be found later nobody knows.
    """
    asked = questions(units, rules, services, events, as_of)
    asked["last_service_on"] = np.datetime64(as_of, "us")
    asked["last_service_counter"] = np.nan
    return answer(asked, replace(ground, verdicts={}, conditions={}), as_of)
