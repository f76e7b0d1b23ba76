import numpy as np
import pytest

from sample_data.kinetics import FALL_PER_SUGAR
from sample_data.published import PublishedRecipe, simulate_published
from sample_data.scenarios import make_set


# de Andres-Toro et al. 1998 at 130 g/L of sugar and 4 g/L of yeast: an independent integration of the published
# equations gave 113 h (10 °C) and 97 h (13 °C) to 95 % of the fall, and at most 1.41 and 1.80 g/L an hour.
@pytest.mark.parametrize(("temperature_c", "hours", "rate"), [(10.0, 113, 1.41), (13.0, 97, 1.80)])
def test_the_published_lager_model_gives_its_known_times(temperature_c: float, hours: float, rate: float) -> None:
    recipe = PublishedRecipe(129.0, (1.0, 1.0, 1.0, 1.0), sugar=130.0, pitched=4.0, quick=1.0)
    steps = 48 * 20
    course = simulate_published([recipe], np.full((1, steps), temperature_c), np.ones((1, steps)))
    fall = course.fall_sg[0]
    assert fall[-1] == pytest.approx(130.0 * FALL_PER_SUGAR, rel=1e-3)
    assert course.times_h[np.searchsorted(fall, 0.95 * fall[-1])] == pytest.approx(hours, abs=1.5)
    assert course.activity.max() == pytest.approx(rate, rel=0.02)


def test_a_set_of_the_published_family_holds_lagers_only() -> None:
    runs, earlier = make_set(505, 10, 4, "published")
    assert {r.kind for r in runs} == {"lager"}
    assert len(earlier) == 4
    ordinary = [r for r in runs if r.scenario == "ordinary"]
    assert all(60 < (r.eras[0].finish_h or 0) < 600 for r in ordinary)
