"""What a tasting of a trial's arms says to the trial."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from ingest.model import TrialRecord
from ingest.monitoring import outcome_of, tasting_of
from ingest.store.store import Store
from ingest.tastings import Taster, Tasting, TastingAnswer, answer_id

T = datetime(2026, 3, 1, 15, tzinfo=UTC)
TRIAL = TrialRecord(
    trial_id="trial-1",
    name="Hops",
    arms=(("Moss", "b1"), ("Moss", "b2"), ("Fern", "b3")),
    decides="tasting",
)
ALONE = tuple((name, ((name, 1.0),)) for name in ("b1", "b2", "b3"))
GLASSES = (("351", 0), ("482", 1), ("613", 2))


def taste(store: Store, points: dict[str, float], *, at: datetime = T, arms=ALONE, tasters: int = 6, done: bool = True):
    glasses = GLASSES[: len(arms)]
    made = Tasting(name="At the table", at=at, arms=arms, glasses=glasses)
    records: list = [made]
    for n in range(tasters):
        taster = Taster(tasting_id=made.tasting_id, name=f"T{n}", served=(0, 1, 2)[: len(arms)])
        records.append(Taster(**{**_fields(taster), "done_at": at if done else None}))
        for code, arm in glasses:
            records.append(
                TastingAnswer(
                    answer_id=answer_id(taster, code),
                    tasting_id=made.tasting_id,
                    taster_id=taster.taster_id,
                    code=code,
                    at=at,
                    score=points[arms[arm][0]] + n % 3,
                )
            )
    store.save_many(records, "Tasted")
    return made


def _fields(record):
    return {name: getattr(record, name) for name in record.__dataclass_fields__}


def test_replicates_of_an_arm_count_together_and_the_leader_is_named(store):
    made = taste(store, {"b1": 82.0, "b2": 78.0, "b3": 40.0})
    found = tasting_of(store, TRIAL)
    assert found is not None
    chances = dict(found.best)
    assert set(chances) == {"Moss", "Fern"}
    assert sum(chances.values()) == pytest.approx(1.0)
    assert chances["Moss"] > 0.95
    assert found.sentence.startswith("Moss is liked best")
    assert "say little" in found.sentence
    assert found.facts["tasting_id"] == made.tasting_id
    assert [each["drink"] for each in found.facts["drinks"]] == ["b1", "b2", "b3"]
    assert found.agreement["kendall_w"] is not None


def test_nothing_is_told_before_the_tasting_is_over(store):
    made = taste(store, {"b1": 82.0, "b2": 78.0, "b3": 40.0}, done=False)
    assert outcome_of(store, made) is None
    assert tasting_of(store, TRIAL) is None


def test_the_newest_tasting_counts_and_blends_are_left_out(store):
    taste(store, {"b1": 80.0, "b2": 80.0, "b3": 40.0})
    arms = (*ALONE[1:], ("half", (("b1", 0.5), ("b3", 0.5))))
    newer = taste(store, {"b2": 30.0, "b3": 70.0, "half": 95.0}, at=T + timedelta(days=1), arms=arms)
    found = tasting_of(store, TRIAL)
    assert found is not None
    assert found.facts["tasting_id"] == newer.tasting_id
    assert max(found.best, key=lambda each: each[1])[0] == "Fern"


def test_a_tasting_of_one_arm_alone_says_nothing_of_the_trial(store):
    taste(store, {"b1": 80.0, "b2": 60.0}, arms=ALONE[:2])
    assert tasting_of(store, TRIAL) is None
