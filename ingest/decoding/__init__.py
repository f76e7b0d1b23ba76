"""What a message says: quantities, units, times, devices."""

from ingest.decoding.decode import Decoded, decode
from ingest.decoding.deduplication import Arrival, Clockless
from ingest.decoding.device_id import ID_REMEDY, is_good_id
from ingest.decoding.draft import LARGEST_SEQUENCE, shown
from ingest.decoding.quantities import BY_FIELD, NATIVE_NAMES, QUANTITIES, converted
from ingest.decoding.rules import (
    QUANTITY_UNITS,
    RULES_NOTE,
    TIME_UNITS,
    Rule,
    add_rules,
    rule_from,
    stored_rules,
    stored_sources,
)
from ingest.decoding.sites import is_good_site, topics_of
from ingest.decoding.timestamps import AHEAD_S

__all__ = [
    "AHEAD_S",
    "BY_FIELD",
    "ID_REMEDY",
    "LARGEST_SEQUENCE",
    "NATIVE_NAMES",
    "QUANTITIES",
    "QUANTITY_UNITS",
    "RULES_NOTE",
    "TIME_UNITS",
    "Arrival",
    "Clockless",
    "Decoded",
    "Rule",
    "add_rules",
    "converted",
    "decode",
    "is_good_id",
    "is_good_site",
    "rule_from",
    "shown",
    "stored_rules",
    "stored_sources",
    "topics_of",
]
