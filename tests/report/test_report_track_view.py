"""The track record for people."""

from __future__ import annotations

from due_examples import AS_OF, due, outlook

from tapwear.outlook.track import Outcome, told
from tapwear.report.track_view import Tracked, track_page


def test_the_total_counts_what_held_and_on_which_side_the_others_were_reached() -> None:
    (one,) = told(outlook(due()), {})

    def total(*places: str | None) -> str:
        found = tuple(Outcome(one, None, place) for place in places)  # type: ignore[arg-type]
        return track_page([Tracked(1, AS_OF, found)], AS_OF, {})[0].lines[-1].text

    assert total(None) == "No range can be judged yet."
    assert total("after") == "Of 1 range judged, 0 held; reached before the early date: 0, after the late one: 1."
    assert total("within", "before", None).startswith("Of 2 ranges judged, 1 held; reached before the early date: 1,")
