"""The tables, as numbered migrations. Each has a sentence for whoever upgrades, and the SQL that carries it out.

A migration that has been released is never edited: a change is a new one at the end.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Migration:
    """One step from a version of the tables to the next."""

    number: int
    sentence: str
    sql: str


# Instants of entries are naive TIMESTAMPs that mean UTC: the zone is attached where rows leave the store, so that
# no session setting can shift them.
#
# Reports stand in two tables with the same columns: `report_new` in order of arrival, and `report_old`, where they are
# moved by the hundred thousand, sorted by device and time. Sorted, neighbours are alike and pack to less than half.
# The view `report` is both. There is no unique index: one on device and instant costs 61 bytes a reading (measured at
# 10 million rows); the write enforces uniqueness by a join over the span of time of its batch.
#
# A report's instant is split into whole seconds and the rest: most devices send whole seconds, so that the rest packs
# to nothing. The time of receipt is kept as the delay in whole seconds.
_REPORT: Final = """(
    device_key USMALLINT NOT NULL, measured_s UINTEGER NOT NULL, measured_us UINTEGER NOT NULL,
    delay_s INTEGER NOT NULL, inclination_deg DOUBLE, gravity_sg DOUBLE, temperature_c DOUBLE, battery_v DOUBLE,
    battery_pct DOUBLE, signal_dbm DOUBLE, sequence BIGINT, time_flag VARCHAR, extra VARCHAR
)"""

_FIRST: Final = """
CREATE TABLE device (
    device_id VARCHAR NOT NULL, kind VARCHAR NOT NULL, name VARCHAR NOT NULL, situation VARCHAR NOT NULL,
    corrects_temperature BOOLEAN NOT NULL, first_seen_at TIMESTAMP
);
CREATE TABLE vessel (
    vessel_id VARCHAR NOT NULL, name VARCHAR NOT NULL, volume_l DOUBLE, temperature_low_c DOUBLE,
    temperature_high_c DOUBLE, temperature_from VARCHAR
);
CREATE TABLE yeast (
    yeast_id VARCHAR NOT NULL, name VARCHAR NOT NULL, attenuation_low DOUBLE, attenuation_high DOUBLE,
    diastatic BOOLEAN NOT NULL
);
CREATE TABLE batch (
    batch_id VARCHAR NOT NULL, name VARCHAR NOT NULL, vessel_id VARCHAR NOT NULL, drink VARCHAR NOT NULL,
    yeast VARCHAR, volume_l DOUBLE, original_gravity_sg DOUBLE, pitched_at TIMESTAMP NOT NULL, ended_at TIMESTAMP,
    expected_low DOUBLE, expected_high DOUBLE, diastatic BOOLEAN NOT NULL, mixed_culture BOOLEAN NOT NULL,
    split_of VARCHAR, hold_h DOUBLE, contact_days DOUBLE, plan VARCHAR NOT NULL, notes VARCHAR NOT NULL
);
CREATE TABLE placement (
    placement_id VARCHAR NOT NULL, device_id VARCHAR NOT NULL, vessel_id VARCHAR NOT NULL,
    from_at TIMESTAMP NOT NULL, to_at TIMESTAMP
);
CREATE TABLE event (
    event_id VARCHAR NOT NULL, batch_id VARCHAR NOT NULL, kind VARCHAR NOT NULL, "at" TIMESTAMP NOT NULL,
    gravity_sg DOUBLE, amount_g DOUBLE, note VARCHAR NOT NULL
);
CREATE TABLE hand_sample (
    sample_id VARCHAR NOT NULL, batch_id VARCHAR NOT NULL, "at" TIMESTAMP NOT NULL, instrument VARCHAR NOT NULL,
    value DOUBLE NOT NULL, unit VARCHAR NOT NULL, temperature_c DOUBLE, reference VARCHAR NOT NULL,
    degassed BOOLEAN NOT NULL, anchors_float BOOLEAN NOT NULL, note VARCHAR NOT NULL
);
CREATE TABLE calibration (
    calibration_id VARCHAR NOT NULL, device_id VARCHAR NOT NULL, kind VARCHAR NOT NULL, from_at TIMESTAMP,
    points VARCHAR NOT NULL, note VARCHAR NOT NULL
);
CREATE TABLE preferences (
    preferences_id VARCHAR NOT NULL, cellar_name VARCHAR NOT NULL, time_zone VARCHAR NOT NULL,
    gravity_unit VARCHAR NOT NULL, temperature_unit VARCHAR NOT NULL, volume_unit VARCHAR NOT NULL,
    pressure_unit VARCHAR NOT NULL, jurisdiction VARCHAR NOT NULL, hold_h DOUBLE NOT NULL,
    contact_days DOUBLE NOT NULL, confidence DOUBLE NOT NULL, hop_weekdays VARCHAR NOT NULL,
    package_weekdays VARCHAR NOT NULL, busy_dates VARCHAR NOT NULL, notify_urls VARCHAR NOT NULL,
    notify_kinds VARCHAR NOT NULL, quiet_from TIME, quiet_to TIME, calendar_token VARCHAR NOT NULL
);
CREATE TABLE change (
    change_id BIGINT NOT NULL, "at" TIMESTAMP NOT NULL, sentence VARCHAR NOT NULL, steps VARCHAR NOT NULL,
    undone_at TIMESTAMP
);
CREATE TABLE note (key VARCHAR NOT NULL, value VARCHAR NOT NULL);
CREATE TABLE assessment (
    batch_id VARCHAR NOT NULL, made_at TIMESTAMP NOT NULL, phase VARCHAR NOT NULL, finished BOOLEAN NOT NULL,
    stalled BOOLEAN NOT NULL, hold_met BOOLEAN NOT NULL, p_finished DOUBLE, held_h DOUBLE NOT NULL,
    gravity_sg DOUBLE, finish_p10 TIMESTAMP, finish_p50 TIMESTAMP, finish_p90 TIMESTAMP, hop_day VARCHAR,
    packaging_day VARCHAR, detail VARCHAR NOT NULL
);
CREATE TABLE rejection (
    rejection_id VARCHAR NOT NULL, topic VARCHAR NOT NULL, payload BLOB NOT NULL, received_at TIMESTAMP NOT NULL,
    faults VARCHAR NOT NULL, resolved_at TIMESTAMP
);
CREATE TABLE device_key (device_key USMALLINT NOT NULL, device_id VARCHAR NOT NULL);
"""
_REPORTS: Final = f"""
CREATE TABLE report_new {_REPORT};
CREATE TABLE report_old {_REPORT};
CREATE VIEW report AS FROM report_old UNION ALL FROM report_new;
"""

_MASS_UNIT: Final = "ALTER TABLE preferences ADD COLUMN mass_unit VARCHAR DEFAULT 'g'"
_ALTITUDE: Final = "ALTER TABLE preferences ADD COLUMN altitude_m DOUBLE"
DRY_HOPS_SAID_FROM: Final = 3
"""The version of the tables from which on a batch says its dry hops; before it every ale and lager had one dose."""

_DRY_HOPS: Final = """
UPDATE batch SET plan = json_merge_patch(plan, '{"dry_hops": 1}')::VARCHAR
WHERE drink IN ('ale', 'lager') AND coalesce(json_type(plan, '$.dry_hops'), 'NULL') = 'NULL';
"""
_ADDITIONS: Final = """
ALTER TABLE event ADD COLUMN added VARCHAR;
ALTER TABLE event ADD COLUMN amount_l DOUBLE;
ALTER TABLE event ADD COLUMN amount_unit VARCHAR;
ALTER TABLE event ADD COLUMN added_gravity_sg DOUBLE;
ALTER TABLE event ADD COLUMN added_abv_pct DOUBLE;
"""
_PROGRAM_VERSION: Final = "ALTER TABLE assessment ADD COLUMN program_version VARCHAR"

PHOTOS_FROM: Final = 6
"""The version of the tables from which on an export has photos."""

# The picture itself stands apart from its entry: entries are held in memory, pictures are not.
_LOTS: Final = """
ALTER TABLE batch ADD COLUMN divided_from VARCHAR;
ALTER TABLE batch ADD COLUMN divided_at TIMESTAMP;
ALTER TABLE batch ADD COLUMN merged_into VARCHAR;
ALTER TABLE event ADD COLUMN hop_variety VARCHAR;
ALTER TABLE event ADD COLUMN hop_form VARCHAR;
ALTER TABLE event ADD COLUMN contact_days DOUBLE;
CREATE TABLE photo (
    photo_id VARCHAR NOT NULL, batch_id VARCHAR NOT NULL, "at" TIMESTAMP NOT NULL, caption VARCHAR NOT NULL,
    width_px INTEGER NOT NULL, height_px INTEGER NOT NULL
);
CREATE TABLE picture (photo_id VARCHAR NOT NULL, data BLOB NOT NULL);
"""

STAYS_FROM: Final = 5
"""The version of the tables from which on a batch says where it was from when on."""

_STAYS: Final = """
CREATE TABLE batch_stay (
    stay_id VARCHAR NOT NULL, batch_id VARCHAR NOT NULL, vessel_id VARCHAR NOT NULL, from_at TIMESTAMP NOT NULL
);
INSERT INTO batch_stay SELECT 'stay-' || batch_id, batch_id, vessel_id, pitched_at FROM batch;
"""

TASTINGS_FROM: Final = 10
"""The version of the tables from which on an export has tastings."""

_TASTINGS: Final = """
CREATE TABLE tasting (
    tasting_id VARCHAR NOT NULL, name VARCHAR NOT NULL, method VARCHAR NOT NULL, "at" TIMESTAMP NOT NULL,
    arms VARCHAR NOT NULL, glasses VARCHAR NOT NULL, allergens VARCHAR NOT NULL, sulfites VARCHAR NOT NULL,
    trial_id VARCHAR, ended_at TIMESTAMP, note VARCHAR NOT NULL
);
CREATE TABLE taster (
    taster_id VARCHAR NOT NULL, tasting_id VARCHAR NOT NULL, name VARCHAR NOT NULL, served VARCHAR NOT NULL,
    token VARCHAR NOT NULL, done_at TIMESTAMP
);
CREATE TABLE tasting_answer (
    answer_id VARCHAR NOT NULL, tasting_id VARCHAR NOT NULL, taster_id VARCHAR NOT NULL, code VARCHAR NOT NULL,
    "at" TIMESTAMP NOT NULL, score DOUBLE, rank INTEGER, odd BOOLEAN NOT NULL, passed BOOLEAN NOT NULL,
    aromas VARCHAR NOT NULL, note VARCHAR NOT NULL
);
"""

TRIALS_FROM: Final = 11
"""The version of the tables from which on an export has trials."""

_TRIALS: Final = """
CREATE TABLE trial (
    trial_id VARCHAR NOT NULL, name VARCHAR NOT NULL, question VARCHAR NOT NULL, arms VARCHAR NOT NULL,
    decides VARCHAR NOT NULL, differs VARCHAR NOT NULL, equal VARCHAR NOT NULL, notes VARCHAR NOT NULL,
    made_at TIMESTAMP
);
"""

MIGRATIONS: Final = (
    Migration(1, "Makes the tables of a new cellar.", _FIRST + _REPORTS),
    Migration(
        2, "Lets masses be shown in ounces. There is nothing to do; they stay in grams until chosen.", _MASS_UNIT
    ),
    Migration(
        DRY_HOPS_SAID_FROM,
        "Keeps the one dry hop that every ale and lager was planned with so far; a new batch has none unless you ask "
        "for it.",
        _DRY_HOPS,
    ),
    Migration(4, "Keeps of each addition what it was, how much, its own gravity and its strength.", _ADDITIONS),
    Migration(
        STAYS_FROM,
        "Keeps in which vessel each batch was from when on; so far each was in its own since pitching. If one moved "
        "and its vessel was changed, change that back as a correction, then enter the move: its readings come back.",
        _STAYS,
    ),
    Migration(
        PHOTOS_FROM,
        "Keeps from which batch a part was divided and into which one was merged, the variety and form of hops, and "
        "photos.",
        _LOTS,
    ),
    Migration(8, "Notes with each verdict which version of tunroom gave it. There is nothing to do.", _PROGRAM_VERSION),
    Migration(TASTINGS_FROM, "Keeps tastings, their tasters and what each said. There is nothing to do.", _TASTINGS),
    Migration(TRIALS_FROM, "Keeps trials: a question, and batches that differ in one thing.", _TRIALS),
    Migration(
        14,
        "Keeps how high the cellar lies. Until you say so under Set up, a package has to hold its pressure at 1500 m.",
        _ALTITUDE,
    ),
)
"""All migrations in order, numbered upwards from 1; a number may be left out."""

NEWEST: Final = MIGRATIONS[-1].number
"""The version of the tables that this code reads and writes."""


def steps(old: int, new: int = NEWEST) -> tuple[Migration, ...]:
    """The migrations that lead from one version to another; from 0 for a new cellar."""
    return tuple(step for step in MIGRATIONS if old < step.number <= new)
