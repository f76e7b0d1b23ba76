from __future__ import annotations

import re
from typing import Any

import pytest

from analysis import Batch, assess
from analysis.attenuation import apparent_attenuation, attenuation_course, gravity_at_attenuation
from analysis.display_units import DisplayUnits
from analysis.packaging.sheet import worked_out
from analysis.planning.sheet_inputs import prefill
from analysis.units import sg_to_plato
from analysis.wording.evidence import sentences


def test_apparent_attenuation_is_the_share_of_the_original_extract() -> None:
    # Textbook definition: (original extract - apparent extract) / original extract, all in °P. By gravity points
    # 1.050 to 1.010 would be 80.0 %.
    by_extract = (sg_to_plato(1.050) - sg_to_plato(1.010)) / sg_to_plato(1.050)
    assert apparent_attenuation(1.050, 1.010) == pytest.approx(by_extract)
    assert by_extract == pytest.approx(0.793, abs=0.001)
    assert float(attenuation_course(1.050, 1.010)) == pytest.approx(by_extract)


def test_verdict_evidence_and_sheet_tell_one_and_the_same_attenuation(fermentation: Any) -> None:
    ale = fermentation()
    batch = Batch(pitched_at=ale.at(0), original_gravity_sg=1.052, drink="ale", expected_attenuation=(0.74, 0.80))
    said = assess(ale.readings, batch, now=ale.at(ale.finish_h + 96))
    assert said.gravity_sg is not None
    assert said.original_gravity_sg is not None
    assert said.apparent_attenuation is not None
    told = apparent_attenuation(said.original_gravity_sg.p50, said.gravity_sg.p50)
    assert said.apparent_attenuation == pytest.approx(told, abs=1e-9)
    assert worked_out(prefill(said, batch, now=said.now)).apparent_attenuation == pytest.approx(told, abs=0.002)
    [sentence] = [s for s in sentences(said.evidence, DisplayUnits()) if "apparent attenuation" in s]
    share, low, high = (float(found) / 100 for found in re.findall(r"(\d+)\s%", sentence)[:3])
    assert share == pytest.approx(told, abs=0.005)
    # The range beside it is by extract too: an end of 75 to 80 % of the points lies about 0.7 % lower.
    assert low < float(attenuation_course(1.052, gravity_at_attenuation(1.052, 0.78))) < high
