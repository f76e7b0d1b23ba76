"""From what a device said to what it meant."""

from ingest.calibration.calibrate import Calibrated, Stay, calibrate, calibrated_alone
from ingest.calibration.dip import is_dip, one_sample
from ingest.calibration.hand_samples import check_sample, sampled_gravity, samples_said

__all__ = [
    "Calibrated",
    "Stay",
    "calibrate",
    "calibrated_alone",
    "check_sample",
    "is_dip",
    "one_sample",
    "sampled_gravity",
    "samples_said",
]
