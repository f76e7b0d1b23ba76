"""Coverage-guided fuzzing of the decoder, by hand.

``pip install atheris``, then ``python tests/benchmarks/fuzz_decode.py -runs=200000``.
Anything that raises, or that only the decoder's last net catches, stops it with the input that did it.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

import atheris

sys.path[0] = str(Path(__file__).resolve().parents[2])  # not this folder: a benchmark in it is named as the package

with atheris.instrument_imports(include=["ingest"]):
    from ingest.decoding.decode import decode
    from ingest.decoding.rules import rule_from

NOW = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)
RULES = (
    rule_from(
        {
            "topic": "shed/{device}/#",
            "gravity": {"value": "data.g || g", "unit": "°P"},
            "temperature": {"value": "to_number(t)", "unit": "°F"},
            "measured_at": {"value": "ts"},
        }
    ),
    rule_from({"topic": "bare/{device}", "temperature": {"value": "@", "unit": "K"}}),
)
TOPICS = ("tunroom/report/float-1", "shed/p1/state", "bare/p1")


def one(data: bytes) -> None:
    """Decode one generated message."""
    which, data = (data[0], data[1:]) if data else (0, b"")
    if which % 5 < len(TOPICS):
        topic = TOPICS[which % 5]
    else:  # a topic of its own making, now and then below our prefix
        end = which // 5
        topic = ("tunroom/report/" if which % 5 == 3 else "") + data[:end].decode("utf-8", "replace")
        data = data[end:]
    decoded = decode(topic, data, received_at=NOW, rules=RULES)
    if not decoded.reports and not decoded.faults:
        raise AssertionError("neither understood nor faulted")
    if any("could not be read" in fault.problem for fault in decoded.faults):
        raise AssertionError("only the last net caught it")


if __name__ == "__main__":
    atheris.Setup(sys.argv, one)
    atheris.Fuzz()
