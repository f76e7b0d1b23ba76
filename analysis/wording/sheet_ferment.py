"""What may still ferment, and what bottles are held against, as whole sentences."""

from __future__ import annotations

from analysis.display_units import DisplayUnits
from analysis.packaging import Finding
from analysis.packaging import findings as f
from analysis.packaging import pressure_findings as p


def worded(finding: Finding, units: DisplayUnits) -> str | None:
    """The finding as a sentence or two; None for one that is worded elsewhere."""
    match finding:
        case f.ForcedTestUnsure(tested, in_part):
            counts = "only in part" if in_part else "for nothing in favour"
            return (
                f"The forced test ended high, at {units.gravity(tested)}, and is not said to have had plenty of fresh "
                f"yeast: it may have stopped as the batch did, so it counts {counts}."
            )
        case f.CreepMayCome(volumes):
            return (
                f"The dry hops may still start up to {volumes:.1f} volumes, by what is published of their dose, and "
                "the worst case counts them. A forced test with fresh yeast of the hopped drink would narrow this."
            )
        case f.MalicAcidCounted(grams, volumes, assumed):
            given = "Malic acid is not given, so the most that is usual counts" if assumed else "Malic acid counts"
            way_out = "Enter it, or say" if assumed else "Say"
            return (
                f"{given}: bacteria may turn {grams:.1f} g/L to {volumes:.1f} volumes. {way_out} that the malolactic "
                "fermentation has been tested and is finished."
            )
    return _bottles(finding, units)


def _bottles(finding: Finding, units: DisplayUnits) -> str | None:
    match finding:
        case p.BottleRatingUnknown(kind, counted):
            lowest = (
                f"the weakest {kind} that is commonly sold"
                if kind is not None
                else "the weakest that such a drink is filled into; say which kind they are"
            )
            return (
                f"First read on the maker's sheet what the bottles are rated for, in {units.pressure_unit}, and enter "
                f"it: with an unknown rating there is no go. Until then they count as {units.pressure(counted)}, "
                f"{lowest} (common practice)."
            )
        case p.StillWineBottle(volumes):
            return (
                f"Bottles for still wine are not made for gas: {volumes:.1f} volumes need bottles whose maker names "
                "such a use."
            )
        case p.BottleRatingNotBelieved(rating, counted):
            return (
                f"A rating of {units.pressure(rating)} is not believed and counts as {units.pressure(counted)}: none "
                "of this kind is made to work above that, and the short test of a new bottle is no rating. Check the "
                "number and its unit."
            )
    return None
