from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest

from dashboard.charts.base import Axes, Curve, View, Zoom
from dashboard.ui import zoom
from dashboard.wording import voice_of
from ingest.model import Preferences
from tests.dashboard.charts.test_charts import NOW, assessed

BEGAN = NOW - timedelta(days=4)
DAY = Zoom(datetime(2026, 11, 23, 9, 30, 20, tzinfo=UTC), datetime(2026, 11, 24, 9, tzinfo=UTC))


def axes(view: View | None = None, time_zone: str = "America/Chicago") -> Axes:
    curve = Curve(assessment=assessed(), pitched_at=BEGAN, original_gravity_sg=1.052, view=view or View())
    return Axes(curve, voice_of(Preferences(time_zone=time_zone), NOW))


@pytest.mark.parametrize("kept", [None, DAY, Zoom(DAY.from_at, DAY.to_at, 1.01234, 1.0305)])
def test_a_zoom_comes_back_from_the_address_as_it_went_in(kept):
    assert zoom.read(zoom.written(kept)) == kept


@pytest.mark.parametrize(
    "text",
    [
        "",
        "yesterday",
        "20261123T093020",
        "20261399T093020-20261124T090000",  # no such month
        "20261124T090000-20261123T093020",  # backwards
        "20261123T093020-20261123T093040",  # too short to draw
        "20261123T093020-20261124T090000-1.01",
    ],
)
def test_an_address_that_makes_no_sense_shows_the_whole(text):
    assert zoom.read(text) is None


def test_gravities_that_cannot_be_are_left_out_of_an_address():
    assert zoom.read("20261123T093020-20261124T090000-1.03000-1.01000") == DAY
    assert zoom.read("20261123T093020-20261124T090000-1.01000-7.00000") == DAY


def test_what_is_dragged_on_dates_is_on_the_readers_clock():
    # Chicago is six hours behind UTC in November.
    told = {"x": ["2026-11-23 03:30:20.7101", "2026-11-24 03:00"], "y": [1.0159338462803538, 1.039525450754311]}
    assert zoom.told(json.dumps(told), axes(), None) == Zoom(DAY.from_at, DAY.to_at, 1.01593, 1.03953)


@pytest.mark.parametrize("scale", ["SG", "°P", "Attenuation"])
def test_what_is_dragged_on_any_scale_means_the_same_gravities(scale):
    on = axes(View(scale, "Days since pitching"))
    x = [(at - BEGAN).total_seconds() / 86400 for at in (DAY.from_at, DAY.to_at)]
    y = sorted(float(on.y(g)) for g in (1.012, 1.030))
    found = zoom.told(json.dumps({"x": x, "y": y}), on, None)
    assert found is not None
    assert (found.low_sg, found.high_sg) == pytest.approx((1.012, 1.030), abs=2e-5)
    assert abs(found.from_at - DAY.from_at) <= timedelta(seconds=1)


def test_what_the_reader_did_not_touch_stays():
    before = Zoom(BEGAN, NOW, 1.012, 1.030)
    sideways = json.dumps({"x": ["2026-11-23 03:30:20", "2026-11-24 03:00:00"], "y": None})
    assert zoom.told(sideways, axes(), before) == Zoom(DAY.from_at, DAY.to_at, 1.012, 1.030)
    assert zoom.told(json.dumps({"whole": True}), axes(), before) is None


@pytest.mark.parametrize("text", ["", "[]", "7", "{", '{"x": ["soon", "later"]}', '{"x": [1]}', '{"x": null}'])
def test_what_cannot_be_read_changes_nothing(text):
    before = Zoom(BEGAN, NOW)
    assert zoom.told(text, axes(), before) == before


def test_the_page_opens_at_the_zoom_of_its_address_and_shows_the_whole_on_a_button(cellar, page):
    batch_id = cellar.batches["active"].batch_id
    text = zoom.written(Zoom(cellar.batches["active"].pitched_at, cellar.batches["active"].pitched_at + timedelta(1)))
    shown = page("batch", id=batch_id, zoom=text)
    [whole] = [b for b in shown.button if b.label == "Whole course"]
    assert not whole.disabled
    whole.click().run()
    assert not shown.exception
    assert not [b for b in shown.button if b.label == "Whole course"]  # there is nothing for it to do
    assert "zoom" not in shown.query_params
