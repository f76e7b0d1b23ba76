from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta

import pytest

from dashboard.wording import device, voice_of
from ingest.decoding.rules import stored_rules
from ingest.model import Device, Placement, Preferences, Rejection, Report, Vessel
from ingest.store.store import DeviceStatus
from tests.dashboard.conftest import says_until_saved

NOW = datetime.now(UTC).replace(microsecond=0)


def spoke(store, device_id, *, minutes=(45, 30, 15, 1), **values):
    store.keep(
        [
            Report(
                device_id=device_id,
                measured_at=NOW - timedelta(minutes=m),
                received_at=NOW - timedelta(minutes=m),
                **{"gravity_sg": 1.031, **values},
            )
            for m in minutes
        ]
    )


def html_of(shown):
    return " ".join(str(each.value) for each in shown.get("html"))


def word(**values) -> DeviceStatus:
    made = {
        "device_id": "kelp-1",
        "kind": "float",
        "known": True,
        "vessel_id": "v",
        "measured_at": NOW,
        "received_at": NOW,
    }
    return DeviceStatus(**{**made, **values})


def test_a_first_visit_tells_how_to_connect_a_device(service, page):
    shown = html_of(page("sensors"))
    assert "No device has spoken yet." in shown
    assert "mosquitto_pub -h localhost -p 1883" in shown


def test_a_new_device_is_put_to_work_from_its_first_word(service, page):
    vessel = service.store.save(Vessel(name="Vessel 1"))
    spoke(service.store, "kelp-1")
    shown = page("sensors")
    assert "kelp-1 waits for a vessel" in re.sub("<[^>]*>", "", html_of(shown))
    vessels = next(s for s in shown.selectbox if s.label == "Vessel")
    vessels.select(vessels.options[0])
    next(b for b in shown.button if b.label == "Put it to work").click()
    shown.run()
    assert not shown.exception
    assert service.store.get(Device, "kelp-1").kind == "float"
    [stay] = service.store.all(Placement)
    assert (stay.vessel_id, stay.from_at) == (vessel.vessel_id, NOW - timedelta(minutes=45))


def test_a_row_tells_the_exact_time_of_its_age_by_a_tap_beside_the_link_and_not_in_it(service, page):
    spoke(service.store, "kelp-1")
    [row] = [part for part in html_of(page("sensors")).split("<li ") if "New: waits" in part]
    link, beside = row.split("</a>")
    assert "<button" not in link
    assert 'class="exact" data-exact="' in beside


def test_a_float_is_not_put_to_work_without_a_vessel(service, page):
    spoke(service.store, "kelp-1")
    shown = page("sensors")
    next(b for b in shown.button if b.label == "Put it to work").click()
    shown.run()
    assert not shown.exception
    assert "No vessel is chosen." in html_of(shown)
    assert service.store.get(Device, "kelp-1") is None


def test_the_silent_stand_first_then_the_new_then_those_at_work_then_those_at_rest():
    say = voice_of(Preferences(), NOW)
    words = [
        word(device_id="a-rests", vessel_id=None, silent=True),
        word(device_id="b-works"),
        word(device_id="c-new", known=False, vessel_id=None),
        word(device_id="d-weak", signal_dbm=-93.0),
        word(device_id="e-silent", silent=True),
    ]
    order = [w.device_id for w in sorted(words, key=lambda w: device.rank(w, say))]
    assert order == ["e-silent", "d-weak", "c-new", "b-works", "a-rests"]


def test_the_first_line_names_what_needs_a_look():
    say = voice_of(Preferences(), NOW)
    assert device.lead([word()], {}, say) == "The one device at work speaks."
    silent = word(silent=True, received_at=NOW - timedelta(hours=5), usual_interval_s=900.0)
    new = word(device_id="kelp-2", known=False, vessel_id=None)
    assert device.lead([silent, new], {}, say) == "kelp-1 is silent and kelp-2 waits for a vessel."
    assert device.sentence(silent, "Vessel 1", say).startswith(
        "Silent: last heard 5\u202fh ago, usually every 15\u202fmin"
    )


def test_a_device_at_rest_is_not_called_silent():
    say = voice_of(Preferences(), NOW)
    rests = word(vessel_id=None, silent=True)
    assert device.troubles(rests, say) == []
    assert device.lead([rests], {}, say) == "No device is at work."


def test_a_battery_with_hours_left_is_said_to_run_out():
    assert device.battery(word(battery_v=3.31, battery_days_left=0.2)).endswith("about to run out")
    assert device.battery(word(battery_v=3.9, battery_days_left=24.4)).endswith("about 24 days left")


def rejected(n):
    payload = json.dumps({"ts": int(NOW.timestamp()) - 600 * n, "liquid": "68.0", "battery": {"mv": 3900 - n}})
    return Rejection(
        topic=f"shed/oak-{n % 2}/state",
        payload=payload.encode(),
        received_at=NOW - timedelta(minutes=10 * n),
        faults=("topic: no rule fits",),
    )


def test_a_rule_built_on_stored_messages_takes_them_in(service, page):
    service.store.keep([], [rejected(n) for n in range(6)])
    shown = page("sensors")
    assert "no rule fits" in html_of(shown)
    shown.toggle[0].set_value(True)
    shown.run()
    assert not shown.exception
    assert "It would read all six messages." in html_of(shown)
    assert "Not saved yet." in html_of(shown)
    for label in ("Save the rule and take them in", "Try again", "Dismiss all six"):
        assert says_until_saved(shown, label)
    next(b for b in shown.button if b.label == "Save the rule and take them in").click()
    shown.run()
    assert not shown.exception
    assert service.store.rejections() == []
    assert {w.device_id for w in service.store.device_statuses()} == {"oak-0", "oak-1"}
    [rule] = stored_rules(service.store)
    assert rule.topic == "shed/{device}/state"
    # The text "68.0" becomes a number, and 68 °F is 20 °C.
    assert service.store.readings_as_sent("oak-0")["temperature_c"].to_list() == pytest.approx([20.0] * 3)


def test_a_rule_that_cannot_be_says_why_beside_its_input(service, page):
    service.store.keep([], [rejected(n) for n in range(2)])
    shown = page("sensors")
    shown.toggle[0].set_value(True)
    shown.run()
    topic = next(t for t in shown.text_input if t.label.startswith("Topic"))
    topic.set_value("shed/{device}/{device}")
    shown.run()
    assert not shown.exception
    assert "stands in the topic more than once" in html_of(shown)
    assert not any(b.label.startswith("Save the rule") for b in shown.button)
    assert topic.value == "shed/{device}/{device}"


def test_dismissed_messages_are_gone_from_the_page_but_not_lost(service, page):
    service.store.keep([], [rejected(0)])
    shown = page("sensors")
    next(b for b in shown.button if b.label == "Dismiss").click()
    shown.run()
    assert service.store.rejections() == []
    assert len(service.store.rejections(resolved=True)) == 1


def test_a_dismissal_is_undone_with_every_byte(service, page):
    messages = [rejected(n) for n in range(3)]
    service.store.keep([], messages)
    shown = page("sensors")
    next(b for b in shown.button if b.label == "Dismiss all three").click()
    shown.run()
    assert not shown.exception
    said, change_id = shown.session_state["said"]
    assert said == "Three messages on shed/oak-0/state are dismissed."
    assert service.store.rejections() == []
    assert service.undo(change_id) == "Taken back: Dismissed three messages on shed/oak-0/state"
    assert service.store.rejections() == messages


def test_a_rule_is_undone_when_it_was_made_and_when_it_was_removed(service, page):
    service.store.keep([], [rejected(0)])
    shown = page("sensors")
    shown.toggle[0].set_value(True)
    shown.run()
    next(b for b in shown.button if b.label == "Save the rule and take them in").click()
    shown.run()
    [rule] = stored_rules(service.store)
    assert [r.source for r in service.pipeline.rules] == [rule.source]
    shown = page("sensors")
    next(b for b in shown.button if b.label == "Remove").click()
    shown.run()
    assert not shown.exception
    assert stored_rules(service.store) == ()
    assert service.pipeline.rules == ()
    service.undo()
    assert [r.source for r in service.pipeline.rules] == [rule.source]
    service.undo()
    assert stored_rules(service.store) == ()
    assert service.pipeline.rules == ()
    # What was measured stays, whatever becomes of the rule.
    assert service.store.counts()["readings"] == 1


def test_a_device_that_is_gone_is_said_to_be_gone(service, page):
    assert "There is no such device." in html_of(page("sensors", device="nobody"))


def test_the_page_of_a_device_says_what_else_it_sends(service, page):
    service.store.save(Device(device_id="kelp-1", kind="float", name="Kelp"))
    spoke(service.store, "kelp-1", battery_v=3.9, signal_dbm=-61.0, extra={"firmware": "3.1"})
    shown = html_of(page("sensors", device="kelp-1"))
    assert "firmware 3.1" in shown
    assert "strong" in shown
