"""The samples to take next."""

from __future__ import annotations

from datetime import date

from oil_examples import AS_OF, pulled, sample, unit, verdict

from tapwear.oil.types import OilFinding
from tapwear.report.oil_requests import requests_page, resample_list
from tapwear.report.oil_unit import OilUnit
from tapwear.report.page import page_plain
from tapwear.words import CAUTIONS, stop_notice


def flagged(tag: str = "R1", by: date = date(2026, 7, 18), **changed: object) -> OilUnit:
    fields: dict[str, object] = {"verdict": verdict("resample", resample_by=by), "identity": {"unit": tag}}
    return unit(sample("2026-06-20"), **(fields | changed))


def overdue(tag: str = "L1", **identity: object) -> OilUnit:
    return unit(sample("2025-01-10"), identity={"unit": tag, **identity})


def severe(tag: str = "S1") -> OilUnit:
    return unit(sample("2024-01-10"), stop="STOP since 2026-05-01", verdict=pulled(severe=True), identity={"unit": tag})


def text_of(*units: OilUnit) -> str:
    return "\n".join(page_plain(requests_page(resample_list(units, AS_OF))))


def test_flagged_and_overdue_units_are_listed_by_station_and_date() -> None:
    listed = resample_list(
        [overdue("B1", station="BW"), flagged("A2"), flagged("A1", date(2026, 7, 3)), unit(sample("2026-03-01"))], AS_OF
    )
    assert [(one.unit, one.why, one.by) for one in listed.requests] == [
        ("A1", "flagged", date(2026, 7, 3)),
        ("A2", "flagged", date(2026, 7, 18)),
        ("B1", "routine", date(2026, 1, 10)),
    ]


def test_alarms_come_first_and_a_low_compartment_is_not_sampled() -> None:
    alarm = unit(sample("2026-06-20"), verdict=pulled(), identity={"unit": "Z9", "station": "ZZ"})
    low = unit(sample("2024-01-10"), low_oil=True, identity={"unit": "L1"})
    listed = resample_list([low, flagged("A1"), alarm], AS_OF)
    assert [(one.unit, one.why) for one in listed.requests] == [("Z9", "alarm"), ("A1", "flagged")]
    text = text_of(low, flagged("A1"), alarm)
    assert "today whether it may stay in service. Z9." in text
    assert "Oil level low, so no oil is drawn: L1." in text
    assert "unit     L1" not in text


def test_severe_units_are_not_listed_and_their_station_is_warned() -> None:
    listed = resample_list([severe(), flagged()], AS_OF)
    assert [one.unit for one in listed.requests] == ["R1"]
    text = text_of(severe(), flagged())
    assert text.startswith(stop_notice("S1"))
    assert stop_notice("S1") in text.split("Station AH")[1]
    assert "unit     S1" not in text
    assert "STOP" not in text_of(flagged())


def test_who_is_not_listed_is_named_with_the_reason() -> None:
    resting = unit(sample("2020-01-01"), identity={"unit": "W1", "state": "workshop"})
    retired = unit(sample("2020-01-01"), identity={"unit": "X1", "state": "retired"})
    text = text_of(resting, retired, unit(identity={"unit": "N1"}))
    assert "0 units to sample" in text
    assert "Never sampled, so no interval runs: N1." in text
    assert "Not in service: W1." in text
    assert "X1" not in text


def test_the_laboratory_is_asked_for_the_same_test_method_and_told_what_was_last_there() -> None:
    (request,) = resample_list([flagged()], AS_OF).requests
    text = "\n".join(request.bottles[0].request)
    assert "Sample from the tap-changer compartment, on-load tap changer of R1, AH, T1; serial S-1042." in text
    assert "by the same method as before (IEC 60156, gap 2.5 mm)" in text
    assert "The last sample there: 2026-06-20 by North lab, reference N2026-06-20." in text
    assert "It follows an unusual result" in text
    (late,) = resample_list([overdue()], AS_OF).requests
    assert "to confirm" not in "\n".join(late.bottles[0].request)


def test_without_a_known_method_the_laboratory_states_it() -> None:
    plain = unit(sample("2025-01-10", breakdown_method="", breakdown_gap_mm=float("nan")))
    (request,) = resample_list([plain], AS_OF).requests
    assert "Breakdown voltage in kV, with method and gap." in request.bottles[0].request


def test_the_label_names_the_unit_and_leaves_lines_for_the_crew() -> None:
    (request,) = resample_list([flagged()], AS_OF).requests
    label = "\n".join(request.bottles[0].label)
    for words in ("unit     R1", "serial   S-1042", "from     tap-changer compartment", "station  AH, T1 Alder Hill"):
        assert words in label
    for blank in ("date     ____", "oil temperature ____", "counter  ____"):
        assert blank in label


def test_a_serial_that_is_not_known_is_read_off_the_nameplate() -> None:
    (request,) = resample_list([overdue(serial="")], AS_OF).requests
    assert "(read the nameplate)" in "\n".join(request.bottles[0].label)


def test_each_compartment_has_its_bottle_with_its_own_serial() -> None:
    two = unit(sample("2025-01-10", compartment="A", compartment_serial="C-7"), sample("2025-01-10", compartment="B"))
    (request,) = resample_list([two], AS_OF).requests
    assert [(one.taken_from, one.serial) for one in request.bottles] == [
        ("tap-changer compartment A", "C-7"),
        ("tap-changer compartment B", "S-1042"),
    ]


def test_acetylene_in_the_main_tank_asks_for_a_bottle_from_there_too() -> None:
    leak = OilFinding("main tank acetylene", "Acetylene in the main tank rose.")
    both = flagged(verdict=verdict("resample", resample_by=date(2026, 7, 18), findings=(leak,)))
    (request,) = resample_list([both], AS_OF).requests
    assert [(one.taken_from, one.serial) for one in request.bottles] == [
        ("tap-changer compartment", "S-1042"),
        ("main tank", "X7"),
    ]
    assert len(resample_list([flagged()], AS_OF).requests[0].bottles) == 1


def test_the_page_carries_the_caution_about_negative_pressure_and_what_needs_an_outage() -> None:
    text = text_of(flagged(identity={"unit": "R1", "sampling_needs_outage": True}))
    assert CAUTIONS[2] in text
    assert "It can be sampled only in an outage." in text
    assert "Station AH (Alder Hill)\n  R1 by 2026-07-18" in text.split("Not on the list")[-1]
