"""How often the packaging sheet says go, and how often that would have burst: packagings of every dangerous class.

    python -m tests.benchmarks.packagings --seed 1 --number 2000

The truth is its own: what will still ferment is drawn here, the pressure is Henry's law with a head space, and nothing
of the sheet's sums is asked. A person who fills the sheet in knows some of it, and leaves some of it out. Classes
whose danger is not said (`undeclared`) are counted too: no sheet can know them, and the table shows what that costs.

The figures: ends of beers 0.63 to 0.86 (Wahl and Henius; Cutaia et al. 2009, means of 532 brews); a further 0.0011 to
0.0045 SG in storage (USDA Bulletin 493, nine brews); 1 °P of real extract in 5 and 2 °P in 40 days at 10 g/L of hops
(Kirkpatrick and Shellhammer 2018); diastatic yeast ends at 80 to 95 % over weeks, mixed cultures near 1.000 over
months, a test with tired yeast stops short like the drink, a keg is marked for 4.1 to 9 bar, a beer bottle works at up
to 10 bar, below the 12 that a new one is tested with (common practice, no source); malic acid 2 to 8 g/L in cider,
1 to 5 g/L in wine (from memory), 1 mol of it giving 1 mol of CO2.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from analysis.packaging import fields, sheet
from tests.analysis.packaging.test_packagings import henry_bar

Given = dict[str, Any]
Random = np.random.Generator

MALIC_G_PER_MOL: Final = 134.09
LITRES_PER_MOL: Final = 22.4
CREEP_PLATO_AT_10_G_PER_L: Final = 2.0
VOLUMES_PER_PLATO: Final = 4.75 / 2.0
"""The published creep of 2 °P went with 4.75 volumes (the same paper)."""

OPTIONAL: Final = (
    "drink", "original_gravity_sg", "warmest_c", "storage_c", "remaining_fall_sg", "hand_sample", "hold_met",
    "purged", "bottle_rating_kpa", "keg_rating_kpa", "bottle_kind", "volume_l", "serving_c", "forced_test_sg",
    "forced_test_fresh_yeast", "held_days", "expected_low", "expected_high",
    "malic_acid_g_per_l", "malolactic_finished",
)  # fmt: skip
"""What a person may leave out; what speaks against the drink they say."""

KINDS: Final = {
    "crown-cap beer bottle": (527.0, 1000.0),
    "swing-top bottle": (400.0, 900.0),
    "sparkling-wine bottle": (600.0, 1000.0),
    "PET bottle": (400.0, 800.0),
    "still-wine bottle": (20.0, 150.0),
}
"""Working pressures in kPa that bottles of a kind truly bear (common practice, no source)."""


@dataclass(frozen=True)
class Case:
    """What the person enters, and the hidden truth: `volumes` that come on top of the fill, and what it is held by."""

    given: Given
    more_volumes: float
    rating_kpa: float
    storage_c: float
    air_bar: float

    def worst_kpa(self, random: Random) -> float:
        """The true pressure where it stands warmest, in kPa above the atmosphere."""
        given = self.given
        residual = 0.84 * (1 - 0.026 * (given.get("warmest_c", 14.0) - 20.0))
        filled = max(given["carbonation_volumes"] + random.normal(0, 0.08), residual)
        return 100 * henry_bar(filled + self.more_volumes, self.storage_c, random.uniform(0.02, 0.06), self.air_bar)


def fallen(random: Random, points: float) -> float:
    """Volumes of CO2 of a fall in points (0.001 SG): 0.49 by Balling, more where no yeast grows on it."""
    return max(0.0, points) * random.uniform(0.49, 0.52)


def beer(random: Random, attenuation: float, end: float, **changes: Any) -> Case:
    """A bottled beer that stands at one apparent attenuation and will end at another; hold and hand sample seen."""
    original = random.uniform(1.040, 1.068)
    final = 1 + (original - 1) * (1 - attenuation)
    rating, storage = random.uniform(500, 1000), random.uniform(18, 30)
    purged = bool(random.random() < 0.5)
    given: Given = {
        "drink": str(random.choice(["ale", "lager"])), "package": "bottle", "volume_l": 19.0,
        "original_gravity_sg": round(original, 4), "final_gravity_sg": round(final, 4),
        "finished": True, "hold_met": True, "hand_sample": True,
        "remaining_fall_sg": float(random.choice([0.0002, 0.0005, 0.001])),
        "carbonation_volumes": round(float(random.uniform(2.0, 2.8)), 1),
        "warmest_c": round(float(random.uniform(10, 24)), 1), "storage_c": round(float(storage), 1),
        "bottle_rating_kpa": round(rating), "bottle_kind": "crown-cap beer bottle", "purged": purged,
    }  # fmt: skip
    more = fallen(random, 1000 * (original - 1) * (end - attenuation))
    air = random.uniform(0, 0.1) if purged else random.uniform(0, 0.8)  # yeast takes up the oxygen
    return replace(Case(given, more, rating, storage, air), given=given | changes)


def must(random: Random, drink: str, points_left: float, **changes: Any) -> Case:
    """A bottled mead, cider or wine with points left to fall to its dry end."""
    case = beer(random, 0.8, 0.8)
    original = random.uniform(1.045, 1.060) if drink == "cider" else random.uniform(1.075, 1.110)
    end = random.uniform(0.991, 1.001)
    given = case.given | {
        "drink": drink, "original_gravity_sg": round(original, 4),
        "final_gravity_sg": round(end + points_left / 1000, 4),
    }  # fmt: skip
    more = fallen(random, points_left)
    if drink in ("cider", "wine"):
        malic = random.uniform(2, 8) if drink == "cider" else random.uniform(1, 5)
        done = random.random() < 0.3
        if done:
            given["malolactic_finished"] = True
        elif random.random() < 0.5:
            given["malic_acid_g_per_l"] = round(float(malic), 1)
        more += 0.0 if done else malic / MALIC_G_PER_MOL * LITRES_PER_MOL * float(random.random() < 0.7)
    return replace(case, given=given | changes, more_volumes=more)


def kegged(random: Random, case: Case, storage: float) -> Case:
    """The same drink in a keg that stands at most so warm."""
    rating = random.uniform(414, 900)
    given = {k: v for k, v in case.given.items() if not k.startswith("bottle") and k != "purged"}
    given |= {
        "package": "keg", "keg_rating_kpa": round(rating), "serving_c": round(float(random.uniform(3, 10)), 1),
        "storage_c": round(storage, 1),
    }  # fmt: skip
    return replace(case, given=given, rating_kpa=rating, storage_c=storage, air_bar=random.uniform(0, 0.2))


def pause(random: Random) -> Case:
    """It stood for days short of its end, which a hold takes for the end; the forecast believed it."""
    end = random.uniform(0.74, 0.86)
    return beer(random, end - random.uniform(0.03, 0.25), end)


def slow_creep(random: Random) -> Case:
    """It falls on in storage, too slowly for a hold of days: an ordinary yeast, or one whose high range is given."""
    if random.random() < 0.5:
        attenuation = random.uniform(0.70, 0.80)
        case = beer(random, attenuation, attenuation)
        return replace(case, more_volumes=fallen(random, random.uniform(1.1, 4.5)))
    attenuation = random.uniform(0.76, 0.88)
    return beer(random, attenuation, random.uniform(attenuation, 0.95), expected_low=0.80, expected_high=0.95)


def _still_held(left_points: float, tau_days: float) -> float:
    """For how many days a creep with a time constant has been within a point, so that it seemed to hold."""
    return tau_days * math.log1p(1 / max(left_points, 1e-3))


def diastatic(random: Random) -> Case:
    """A diastatic yeast, said so; held for as long as its creep stays within a point."""
    end = random.uniform(0.80, 0.95)
    case = beer(random, end - random.exponential(0.05), end, diastatic=True)
    return _culture(random, case, end, random.uniform(10, 45))


def mixed(random: Random) -> Case:
    """A mixed culture, said so, which goes on for months."""
    end = random.uniform(0.90, 1.02)
    case = beer(random, end - random.exponential(0.07), end, mixed_culture=True)
    return _culture(random, case, end, random.uniform(30, 100))


def _culture(random: Random, case: Case, end: float, tau_days: float) -> Case:
    original = case.given["original_gravity_sg"]
    end_sg = 1 + (original - 1) * (1 - end)
    left = 1000 * (case.given["final_gravity_sg"] - end_sg)
    given = case.given | {"held_days": round(min(120.0, _still_held(left, tau_days)), 1)}
    if random.random() < 0.3:  # a test of some days sees the most of it
        seen = end_sg + 0.001 * left * random.uniform(0, 0.3)
        given |= {"forced_test_sg": round(seen, 4), "forced_test_fresh_yeast": bool(random.random() < 0.5)}
    return replace(case, given=given)


def fed(random: Random) -> Case:
    """A mead, cider or wine that was fed, or still holds sugar, and malic acid that bacteria may turn to gas."""
    drink = str(random.choice(["mead", "cider", "wine"]))
    return must(random, drink, float(random.choice([0.0, 1.0]) * random.exponential(6.0)))


def hopped(random: Random) -> Case:
    """Dry hopped, and yeast is there: the published creep in proportion to the dose, part of it fallen already."""
    attenuation = random.uniform(0.72, 0.84)
    case = beer(random, attenuation, min(0.86, attenuation + random.uniform(0, 0.02)))
    dose, warm_days = random.uniform(1, 12), random.uniform(0, 20)
    whole = random.uniform(0.1, 1.0) * CREEP_PLATO_AT_10_G_PER_L * dose / 10 * VOLUMES_PER_PLATO
    creep = whole * math.exp(-warm_days / random.uniform(6, 14))  # half in 5 days at 20 °C, slower in the cool
    given = case.given | {"dry_hopped": True}
    if random.random() < 0.8:
        given["hops_g_per_l"] = round(float(dose), 1)
    if random.random() < 0.4:
        given["hop_creep_fall_sg"] = float(random.choice([0.0, 0.001]))
    if random.random() < 0.4:
        given["hops_warm_days"] = round(float(warm_days), 1)
    if random.random() < 0.2:  # tested before the hops came
        given |= {"forced_test_sg": given["final_gravity_sg"], "forced_test_fresh_yeast": True}
    return replace(case, given=given, more_volumes=case.more_volumes + creep)


def false_test(random: Random) -> Case:
    """A forced test with tired yeast, too cold or too short, which stopped short like the drink."""
    end = random.uniform(0.72, 0.86)
    short = random.uniform(3, 25)
    case = beer(random, 0.7, end)
    original = case.given["original_gravity_sg"]
    stands = 1 + (original - 1) * (1 - end) + short / 1000
    given = case.given | {
        "final_gravity_sg": round(stands, 4),
        "forced_test_sg": round(stands + random.uniform(-0.001, 0.002), 4),
    }  # fmt: skip
    if random.random() < 0.3:
        given["forced_test_fresh_yeast"] = False
    if random.random() < 0.2:
        cider = must(random, "cider", short)
        return replace(cider, given=cider.given | {"forced_test_sg": cider.given["final_gravity_sg"]})
    return replace(case, given=given, more_volumes=fallen(random, short))


def no_rating(random: Random) -> Case:
    """Bottles of some kind or none named, without a rating."""
    kind = str(random.choice(list(KINDS)))
    case = beer(random, random.uniform(0.70, 0.84), random.uniform(0.78, 0.86))
    given = {k: v for k, v in case.given.items() if not k.startswith("bottle")}
    if random.random() < 0.5:
        given["bottle_kind"] = kind
    return replace(case, given=given, rating_kpa=random.uniform(*KINDS[kind]))


def misread_rating(random: Random) -> Case:
    """A test pressure or a slip is entered as the rating of bottles that bear what their kind bears."""
    kind = str(random.choice(list(KINDS)))
    case = beer(random, random.uniform(0.70, 0.84), random.uniform(0.78, 0.86))
    given = case.given | {"bottle_kind": kind, "bottle_rating_kpa": float(random.choice([1200, 1600, 2500, 5000]))}
    return replace(case, given=given, rating_kpa=random.uniform(*KINDS[kind]))


def keg_warm(random: Random) -> Case:
    """A keg of any of these drinks which may stand in a warm room."""
    made = RISKY[
        str(random.choice(["pause", "slow creep", "diastatic", "mixed", "fed", "hopped", "false forced test"]))
    ]
    return kegged(random, made(random), random.uniform(18, 35))


def keg_cold(random: Random) -> Case:
    """A keg of any of these drinks which stays in the cold."""
    made = RISKY[
        str(random.choice(["pause", "slow creep", "diastatic", "mixed", "fed", "hopped", "false forced test"]))
    ]
    return kegged(random, made(random), random.uniform(2, 8))


def undeclared(random: Random) -> Case:
    """A wild or diastatic yeast that nobody knows of."""
    attenuation = random.uniform(0.74, 0.84)
    return beer(random, attenuation, random.uniform(0.88, 0.98))


RISKY: Final[dict[str, Callable[[Random], Case]]] = {
    "pause": pause, "slow creep": slow_creep, "diastatic": diastatic, "mixed": mixed, "fed": fed, "hopped": hopped,
    "false forced test": false_test, "no rating": no_rating, "misread rating": misread_rating,
    "keg warm": keg_warm, "keg cold": keg_cold, "undeclared": undeclared,
}  # fmt: skip


def _ordinary(random: Random, low: float, high: float, least: float = 800.0) -> Case:
    attenuation = random.uniform(low, high)
    case = beer(random, attenuation, attenuation + random.uniform(0, 0.01))
    rating = random.uniform(least, 1000)
    return replace(case, given=case.given | {"bottle_rating_kpa": round(rating)}, rating_kpa=rating)


def _tested(random: Random, case: Case, said: float = 0.6) -> Case:
    test = case.given["final_gravity_sg"] + random.normal(0, 0.0005)
    fresh = {"forced_test_fresh_yeast": True} if random.random() < said else {}
    return replace(case, given=case.given | {"forced_test_sg": round(float(test), 4), **fresh})


def _hopped_after(random: Random) -> Case:
    """A forced test of the hopped beer, with its hops and fresh yeast, which it agrees with."""
    case = _tested(random, _ordinary(random, 0.74, 0.84), said=1.0)
    return replace(case, given=case.given | {"hops_g_per_l": 6.0, "forced_test_hopped": True})


def _lactose(random: Random) -> Case:
    """A stout with 15 to 40 g/L of lactose, declared; the rest of it is 76 to 84 % attenuated."""
    case = _tested(random, _ordinary(random, 0.76, 0.84))
    lactose = float(random.uniform(15, 40))
    lift = 0.95 * lactose * 0.000386  # g/L of solids; 10 g/L are 0.00386 SG
    given = case.given | {"lactose_g_per_l": round(lactose, 1)}
    for key in ("final_gravity_sg", "original_gravity_sg", "forced_test_sg"):
        given[key] = round(given[key] + lift, 4)
    return replace(case, given=given)


SAFE: Final[dict[str, Callable[[Random], Case]]] = {
    "ordinary, forced test": lambda r: _tested(r, _ordinary(r, 0.70, 0.84)),
    "ordinary, 74 to 82 %": lambda r: _ordinary(r, 0.74, 0.82),
    "ordinary, 63 to 74 %": lambda r: _ordinary(r, 0.63, 0.74),
    "600 to 800 kPa, forced test": lambda r: _tested(r, _least(r)),
    "600 to 800 kPa, 74 to 82 %": lambda r: _least(r),
    "hopped, forced test of it": _hopped_after,
    "lactose, forced test": _lactose,
}


def _least(random: Random) -> Case:
    case = _ordinary(random, 0.74, 0.82)
    rating = random.uniform(600, 800)
    return replace(case, given=case.given | {"bottle_rating_kpa": round(rating)}, rating_kpa=rating)


def leaving_out(random: Random, case: Case) -> Case:
    """The same packaging by a person who leaves up to three things out, one time in three."""
    if random.random() > 1 / 3:
        return case
    given = dict(case.given)
    for key in random.permutation([k for k in OPTIONAL if k in given])[: int(random.integers(1, 4))]:
        given.pop(str(key))
    return replace(case, given=given)


@dataclass(frozen=True)
class Counted:
    """Verdicts of one class; `unsafe` goes would have passed the rating, as would `dangerous` packagings in all."""

    name: str
    number: int
    go: int
    caution: int
    stop: int
    unsafe: int
    dangerous: int


def count(name: str, draw: Callable[[Random], Case], seed: int, number: int, *, leave_out: bool) -> Counted:
    """Draw, ask the sheet, and hold its goes against the truth."""
    random = np.random.default_rng([seed, *name.encode()])
    known = {each.key for each in fields()}
    verdicts: Counter[str] = Counter()
    unsafe = dangerous = 0
    for _ in range(number):
        case = draw(random)
        bursts = case.worst_kpa(random) > case.rating_kpa
        told = leaving_out(random, case) if leave_out else case
        answer = sheet({k: v for k, v in told.given.items() if k in known})
        verdict = str(answer.keg_verdict if told.given["package"] == "keg" else answer.bottle_verdict)
        verdicts[verdict] += 1
        dangerous += bursts
        unsafe += bursts and verdict == "go"
    return Counted(name, number, verdicts["go"], verdicts["caution"], verdicts["stop"], unsafe, dangerous)


def main() -> None:
    """Print the table of goes and unsafe goes by class."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--number", type=int, default=2000, help="packagings of each class")
    parser.add_argument("--only", help="one class")
    asked = parser.parse_args()
    print(
        f"{'class':<28}{'number':>8}{'go':>8}{'caution':>9}{'stop':>7}{'go %':>7}{'unsafe go':>11}{'would burst':>13}"
    )
    for classes, leave_out in ((RISKY, True), (SAFE, False)):
        for name, draw in classes.items():
            if asked.only is None or asked.only == name:
                c = count(name, draw, asked.seed, asked.number, leave_out=leave_out)
                share = 100 * c.go / c.number
                print(
                    f"{c.name:<28}{c.number:>8}{c.go:>8}{c.caution:>9}{c.stop:>7}{share:>7.1f}{c.unsafe:>11}"
                    f"{c.dangerous:>13}"
                )


if __name__ == "__main__":
    main()
