"""Every table that can be handed in, field by field: the one place that says what a column is called and may hold."""

from __future__ import annotations

from tapwear.visits.observations import OBSERVATIONS
from tapwear.visits.planning import PLANNING
from tapwear.visits.specs import FieldSpec as FieldSpec
from tapwear.visits.specs import Kind as Kind
from tapwear.visits.specs import TableSpec as TableSpec
from tapwear.words import CONDITION_KINDS

GASES = (
    "hydrogen",
    "methane",
    "ethane",
    "ethylene",
    "acetylene",
    "carbon_monoxide",
    "carbon_dioxide",
    "oxygen",
    "nitrogen",
)
STATES = ("in service", "spare", "workshop", "retired")
TASKS = ("inspection", "contact service", "contact replacement", "oil change")
TECHNOLOGIES = ("arcing_resistor", "arcing_reactor", "vacuum")
BREATHINGS = ("free", "desiccant", "sealed")
CONSERVATORS = ("separate", "common")
COUNTER_SOURCES = ("mechanical", "raise", "lower", "controller", "sample")
WORKS = (
    "inspection",
    "overhaul",
    "contact replacement",
    "oil change",
    "oil degassing",
    "breather change",
    "repair",
    "other",
)
EVENT_KINDS = (
    "counter_replaced",
    "regulator_setting_changed",
    "load_transferred",
    "new_generation",
    "out_of_service",
    "back_in_service",
    "paralleled",
    "inspection",
    "laboratory_changed",
    "other",
)
TAKEN_FROM = ("compartment", "main_tank")
LIMIT_QUANTITIES = (
    "hydrogen_ul_per_l",
    "methane_ul_per_l",
    "ethane_ul_per_l",
    "ethylene_ul_per_l",
    "acetylene_ul_per_l",
    "ethylene_to_acetylene",
    "moisture_mg_per_kg",
    "breakdown_kv",
)


F = FieldSpec
_UNIT = F("unit", "text", "the owner's asset tag of the tap changer", required=True)

PLACES = TableSpec(
    "places",
    "stations, and the banks and phases in them",
    (
        F("station", "text", "short code of the station", required=True),
        F("station_name", "text", "its full name"),
        F("region", "text", "crew region that it belongs to"),
        F("neighbourhood", "text", "stations of one neighbourhood can be visited on one trip"),
        F("bank", "text", "transformer bank"),
        F("phase", "text", "phase, for single-phase units"),
    ),
    ("station", "bank", "phase"),
)
UNITS = TableSpec(
    "units",
    "tap changers; only unit, station and counter_digits are needed for a new one",
    (
        _UNIT,
        F("station", "text", "station where it stands"),
        F("counter_digits", "count", "how many digits the operation counter shows", low=3, high=9),
        F("bank", "text", "transformer bank"),
        F("phase", "text", "phase, for single-phase units"),
        F("region", "text", "crew region of the station"),
        F("serial", "text", "serial number on the tap changer's nameplate"),
        F("transformer_serial", "text", "serial number of the transformer"),
        F("state", "choice", "where it is in its life", choices=STATES),
        F("technology", "choice", "how it interrupts", choices=TECHNOLOGIES),
        F("breathing", "choice", "how the compartment breathes", choices=BREATHINGS),
        F("oil_volume_l", "number", "oil in the compartment", measure="volume", low=1, high=20_000),
        F("main_tank_volume_l", "number", "oil in the main tank", measure="volume", low=1, high=500_000),
        F("conservator", "choice", "shared with the main tank or not", choices=CONSERVATORS),
        F("rated_current_a", "number", "rated through-current [A]", low=0, high=20_000),
        F("step_voltage_v", "number", "step voltage [V]", low=0, high=20_000),
        F("peer_group", "text", "units of like duty, for the rate of operations"),
        F("oil_group", "text", "units of like equipment, for the oil"),
        F("scheme", "text", "service scheme that it follows"),
        F("positions", "positions", "its positions, lowest to highest, e.g. 16L-N-16R, 1-33, 1-17-33 or 1-9abc-17"),
        F("interval_operations", "count", "contact-service interval of the unit [operations]", low=1, high=999_999_999),
        F("interval_years", "number", "contact-service interval of this unit [years]", low=0.1, high=100),
        F("commissioned_on", "date", "first day in service"),
        F("visit_cadence", "text", "how often it is visited"),
        F("sampling_needs_outage", "yes or no", "its oil can be sampled only when it is out of service"),
        F("drives", "list", "names of its drives, e.g. A;B;C for three single-phase drives"),
        F("compartments", "list", "names of its compartments, e.g. A;B;C"),
        F("compartment_serials", "list", "serial numbers of its compartments, in their order, e.g. C1;C2;C3"),
        F("note", "text", "anything else"),
    ),
    ("unit",),
)
SERVICE_RULES = TableSpec(
    "service_rules",
    "how often what is due, by scheme or by unit",
    (
        F("scheme", "text", "scheme that the rule belongs to (or give unit)"),
        F("unit", "text", "unit that the rule belongs to (or give scheme)"),
        F("task", "choice", "what is due", required=True, choices=TASKS),
        F("interval_operations", "count", "interval [operations]", low=1, high=999_999_999),
        F("interval_years", "number", "interval [years]", low=0.1, high=100),
        F("duration_days", "number", "outage that the work needs [days]", low=0.1, high=365),
        F("crew_hours", "number", "work [crew hours]", low=0, high=10_000),
        F("kit", "text", "parts that it needs"),
        F("lead_time_weeks", "number", "time to get the parts [weeks]", low=0, high=260),
        F("provenance", "text", "where the interval comes from: manual, rating plate, own choice"),
        F(
            "current_exponent",
            "number",
            "weighs each operation by (current / rated current) to this power; 0 or blank: every operation counts as 1",
            low=0,
            high=2,
        ),
    ),
    ("scheme", "unit", "task"),
)
VISIT_RULES = TableSpec(
    "visit_rules",
    "how often to read and to sample, by scheme or by unit; a unit's own goes before its scheme's",
    (
        F("scheme", "text", "scheme that the rule belongs to (or give unit)"),
        F("unit", "text", "unit that the rule belongs to (or give scheme)"),
        F("read_every_days", "number", "the counter is to be read at least every so many days", low=1, high=3_653),
        F("sample_every_days", "number", "the oil is to be sampled at least every so many days", low=1, high=3_653),
        F(
            "still_after_days",
            "number",
            "a change-over selector not seen to move for so many days is told; blank: 365",
            low=30,
            high=3_653,
        ),
        F("provenance", "text", "where the rule comes from"),
    ),
    ("scheme", "unit"),
)
READINGS = TableSpec(
    "readings",
    "counter readings, as written on the visit",
    (
        _UNIT,
        F("read_on", "date", "day of the reading", required=True),
        F("value", "count", "what the counter showed", required=True, low=0, high=999_999_999),
        F("read_time", "time", "time of day, HH:MM, where the counter is read several times a day"),
        F(
            "source",
            "choice",
            "which counter: the drive's own (mechanical), its raise or lower counter, or a controller's",
            choices=COUNTER_SOURCES,
        ),
        F("drive", "text", "which drive, where there are several"),
        F("current_a", "number", "mean through-current since the reading before [A]", low=0, high=20_000),
        F("reader", "text", "who read it"),
        F("remark", "text", "what else was seen"),
    ),
    ("unit", "drive", "source", "read_on"),
)
EVENTS = TableSpec(
    "events",
    "what happened to the unit or its place",
    (
        _UNIT,
        F("happened_on", "date", "day", required=True),
        F(
            "kind",
            "choice",
            "what happened",
            required=True,
            choices=(*EVENT_KINDS[:-1], "moved", "swapped", EVENT_KINDS[-1]),
        ),
        F("drive", "text", "which drive, where there are several"),
        F("old_reading", "count", "last number of the old counter", low=0, high=999_999_999),
        F("new_reading", "count", "first number of the new counter", low=0, high=999_999_999),
        F("to_station", "text", "moved or swapped: where to"),
        F("to_bank", "text", "moved: bank there"),
        F("to_phase", "text", "moved: phase there"),
        F("to_state", "choice", "moved or swapped: its state from then on", choices=STATES),
        F("other_unit", "text", "swapped: the unit that takes its place"),
        F("remark", "text", "anything else"),
    ),
    ("unit", "happened_on", "kind", "drive"),
)
SAMPLES = TableSpec(
    "samples",
    "oil samples, from the compartment or the main tank",
    (
        _UNIT,
        F("sampled_on", "date", "day of sampling", required=True),
        F("compartment", "text", "which compartment, where there are several"),
        F("compartment_serial", "text", "serial number seen on it"),
        F("taken_from", "choice", "where the oil came from", choices=TAKEN_FROM),
        F("received_on", "date", "day the laboratory had it"),
        F("reported_on", "date", "day of the report"),
        F("laboratory", "text", "laboratory"),
        F("reference", "text", "the laboratory's number for it"),
        *(
            F(
                f"{gas}_ul_per_l",
                "gas",
                f"{gas.replace('_', ' ')}; <0.5 = below the limit",
                measure="gas",
                low=0,
                high=1_000_000,  # a litre of gas in a litre of oil
            )
            for gas in GASES
        ),
        F("moisture_mg_per_kg", "number", "water in oil", measure="water", low=0, high=1_000),
        F("breakdown_kv", "number", "breakdown voltage", measure="voltage", low=0, high=200),
        F("breakdown_method", "text", "test method of the breakdown voltage, e.g. IEC 60156"),
        F("breakdown_gap_mm", "number", "electrode gap", measure="length", low=0.1, high=10),
        F("oil_temp_c", "number", "oil temperature at sampling", measure="temperature", low=-60, high=150),
        F("counter_reading", "count", "counter, if the sheet gives it", low=0, high=999_999_999),
        F("remark", "text", "anything else"),
    ),
    ("unit", "compartment", "taken_from", "sampled_on", "reference"),
)
SERVICES = TableSpec(
    "services",
    "work that was done, and which clocks it starts again",
    (
        _UNIT,
        F("done_on", "date", "day the work was finished", required=True),
        F(
            "work",
            "choice",
            "what was done",
            required=True,
            choices=WORKS,
        ),
        F("resets", "list", "tasks whose clock starts again, e.g. contact service;oil change (blank: as usual)"),
        F("serial_seen", "text", "serial number read on the nameplate"),
        F("as_found_counter", "count", "counter before the work", low=0, high=999_999_999),
        F("as_left_counter", "count", "counter after the work", low=0, high=999_999_999),
        F("contact_left_mm", "number", "contact material left, thinnest contact", measure="length", low=0, high=100),
        F("condemning_limit_mm", "number", "at which contacts must be replaced", measure="length", low=0, high=100),
        F("done_by", "text", "who did it"),
        F("witness", "text", "a second person who saw it; needed where the work ends an overdue task"),
        F("remark", "text", "as found, anything else"),
    ),
    ("unit", "done_on", "work"),
)
CONDITIONS = TableSpec(
    "conditions",
    "what people noted about a unit's condition, and by when its author wants it acted on",
    (
        _UNIT,
        F("noted_on", "date", "day it was noted", required=True),
        F("kind", "choice", "what was noted", required=True, choices=tuple(CONDITION_KINDS)),
        F("words", "text", "what exactly, in a sentence", required=True),
        F("act_by_on", "date", "day by which its author wants it acted on; blank: no date"),
        F("severe", "yes or no", "nobody goes near until the engineer says so; blank: yes for a relay trip, else no"),
        F("author", "text", "who noted and judged it"),
        F("closed_on", "date", "day it was settled; blank: open"),
        F("closed_words", "text", "how it was settled"),
    ),
    ("unit", "noted_on", "kind"),
)
LIMITS = TableSpec(
    "limits",
    "your own limits for the oil, by oil group or technology",
    (
        F("group", "text", "oil group that the limit holds for (or give technology)"),
        F(
            "technology",
            "choice",
            "technology that it holds for, in that group or everywhere",
            choices=TECHNOLOGIES,
        ),
        F(
            "quantity",
            "choice",
            "what is limited; gases in ppm (µL/L)",
            required=True,
            choices=LIMIT_QUANTITIES,
        ),
        F("value", "number", "the limit; the most, for breakdown_kv the least", required=True, low=1e-6, high=1e6),
        F("breakdown_method", "text", "for breakdown_kv: the test method that it holds for, e.g. IEC 60156"),
        F("breakdown_gap_mm", "number", "for breakdown_kv: electrode gap", measure="length", low=0.1, high=10),
        F("provenance", "text", "where the limit comes from", required=True),
    ),
    ("group", "technology", "quantity", "breakdown_method"),
)

# In the order in which they have to be stored: a reading needs its unit, a unit its station.
TABLES: dict[str, TableSpec] = {
    table.name: table
    for table in (
        PLACES,
        UNITS,
        SERVICE_RULES,
        VISIT_RULES,
        EVENTS,
        READINGS,
        SAMPLES,
        SERVICES,
        CONDITIONS,
        OBSERVATIONS,
        LIMITS,
        *PLANNING,
    )
}
