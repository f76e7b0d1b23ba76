"""Every number that decides: unit, meaning, and where it comes from.

Below each stands its docstring in one form, ``<unit>; <meaning>. Source: <source>.``, which `tests/documents.py`
reads to print them as a table. A *point* is 0.001 SG. "Set by trial" means: on simulated fermentations, by
``tests/benchmarks/forecast.py`` on tuning seeds, before figures of such trials were kept with the number. Whoever moves
one runs that before and after.

This module imports nothing of the package, so that every room can take its numbers from here.
"""

from __future__ import annotations

from typing import Final

# What counts as none, and for how long it must hold.

HOLD_H: Final = 48.0
"""hours; gravity must be seen to hold for so long before packaging, unless the brewer asks for another hold. Source:
common practice is two to three days; no published one."""

CONTACT_DAYS: Final = 3.0
"""days; dry hops stay in the beer for so long, unless the brewer asks otherwise. Source: common practice, no
published one."""

STEADY_SG: Final = 0.001
"""SG; a remaining or observed fall below this counts as none. Source: the trade's rule of one point; common
practice."""

LEAST_HOLD_SEEN_H: Final = 8.0
"""hours; a stand that is shorter is not told as a hold at all. Source: none known; set by trial, figures not kept."""

LEVEL_H: Final = 12.0
"""hours; a level is the median of the readings within so wide a window. Source: none known; set by trial, figures not
kept."""

# Which readings are believed.

PLAUSIBLE_SG: Final = (0.970, 1.220)
"""SG; a gravity outside is impossible and set aside. Source: common practice; no fermenting beer, cider, wine or mead
reads outside, absolute ethanol apart."""

PLAUSIBLE_C: Final = (-5.0, 50.0)
"""°C; a temperature outside has no part in the warmth-weighted time. Source: common practice; yeast ferments nowhere
near either end."""

SPIKE_FLOOR_SG: Final = 0.0015
"""SG; a reading nearer than this to the median of its neighbours is no spike, however quiet the float. Source: none
known; set by trial, figures not kept."""

SPIKE_SIGMAS: Final = 6.0
"""standard deviations; a reading further than so many from the median of its neighbours is a spike. Source: none
known; far beyond what normal scatter brings about in a year of readings."""

SPIKE_WINDOW: Final = 9
"""readings; the median of so many, the one in question in their middle, tells a spike. Source: none known; set by
trial, figures not kept."""

FROZEN_H: Final = 4.0
"""hours; a run of one value that is shorter is not told as a stuck float. Source: none known; set by trial, figures
not kept."""

FROZEN_LEAST_READINGS: Final = 40
"""readings; with fewer it is not asked whether a float is stuck. Source: none known; too few to know how it
scatters."""

FROZEN_LEAST_REPEATS: Final = 0.02
"""share of readings; a float repeats itself at least so often by chance. Source: none known; set by trial, figures
not kept."""

FROZEN_LOG_CHANCE: Final = -25.0
"""natural logarithm of a chance; a run of repeats less likely than this is a stuck float. Source: none known; about 1
in 10 to the 11, so that years of readings of many floats bring none about."""

LEAST_ORIGINAL_SG: Final = 1.005
"""SG; an original gravity at or below this is taken for mistyped, since there is nothing to ferment. Source: common
practice, no published one."""

HAND_AGREES_SG: Final = 0.003
"""SG; a hand sample within this of the float's level agrees with it. Source: common practice; the errors of both,
offset included (0.003 SG)."""

# Chill.

CHILL_C: Final = 6.5
"""°C; colder by more than this than where it fermented counts as chilled: a plateau is no evidence then. Source:
common practice; between a cool night and a crash."""

CHILL_BEGINS_C: Final = 1.5
"""°C; a chill began where it was last within this of where it fermented. Source: none known; set by trial, figures
not kept."""

COLD_STRICTER: Final = 0.5
"""factor; in the cold, the chance of two points more must be smaller by this. Source: none known; nothing read in the
cold can still correct the call."""

# A stand that ends, a fall that is seen.

MOVED_SG: Final = 0.0006
"""SG; a fall of the level over half a day by more than this ends a stand. Source: none known; set by trial, figures
not kept."""

MOVES_SG: Final = 0.0004
"""SG; the last hours below the day before by more than this may end a stand. Source: none known; set by trial,
figures not kept."""

MOVES_BEYOND: Final = 2.5
"""standard deviations; such a fall must exceed the scatter of the readings so many times. Source: none known; one in
a hundred by chance, of normal scatter."""

NEWEST_H: Final = 3.0
"""hours; the last hours that may show that a stand ends. Source: the width of a fine bin."""

SLOW_SG: Final = 0.0004
"""SG; what falls by this within a day has not stalled. Source: none known; set by trial, figures not kept."""

SLOW_BEYOND: Final = 1.5
"""standard errors; such a fall must be so many times its error. Source: none known; set by trial, figures not
kept."""

STILL_FALLING: Final = 0.05
"""chance; of being finished at most while the gravity is seen to fall by two points a day. Source: none known; what
fell by two points since yesterday had not ended yesterday."""

# Finished.

SURE: Final = 0.7
"""chance; that less than a point is left, from which it is called finished provided that `FAR` is kept. Source: no
published one; set by trial, figures not kept: a call half a point early does no harm."""

FAR_SG: Final = 0.002
"""SG; so much left is far from finished. Source: common practice; with two points to go bottles burst."""

FAR: Final = 0.07
"""chance; of `FAR_SG` or more left, above which it is not called finished. Source: no published one; set by trial,
figures not kept."""

LONG_SURE: Final = 0.4
"""chance; instead of `SURE` for what has held for `HOLD_H` in the warm and ends about where it should. Source: no
published one; set by trial: what may then still come is a fraction of a point, beyond what a float shows."""

LONG_FAR: Final = 0.1
"""chance; instead of `FAR` for what has held for `HOLD_H`. Source: as for `LONG_SURE`."""

DOUBT: Final = 0.25
"""chance; that less than a point is left, below which a finish is taken back. Source: no published one; set by trial:
far enough below `SURE` that a call does not dither."""

DOUBT_FAR: Final = 0.35
"""chance; of `FAR_SG` or more left, above which a finish is taken back. Source: as for `DOUBT`."""

LEAST_HOLD_H: Final = ((-1.6, 12.0), (-2.6, 72.0), (-3.2, 120.0))
"""standard deviations, hours; for how long it must have held to be believed, by how far at most the end lies above
the expected one. Further above, only a forced test is believed. Source: no published one; set by trial: a stall looks
the same for weeks."""

UNLIKELY_SD: Final = LEAST_HOLD_H[0][0]
"""standard deviations; an end further above the expected one is unusual, and a long hold does not make up for doubt.
Source: the first step of `LEAST_HOLD_H`."""

HALT_DOUBT: Final = 0.1
"""chance; of a lasting halt, above which it is not called finished where `HALT_DOUBT_SD` holds too. Source: no
published one; set by trial, figures not kept."""

HALT_DOUBT_SD: Final = -0.6
"""standard deviations; an end further above the expected one than this leaves open how much is left after a halt.
Source: no published one; set by trial: nearer, the chance of two points more says enough."""

ORIGINAL_KNOWN_SD_SG: Final = 0.001
"""SG; error of a measured original gravity as it is told (not as it is inferred with). Source: common practice; one
division of a hydrometer."""

ORIGINAL_UNKNOWN_SD_SG: Final = 0.003
"""SG; the same where the first readings of a float stand in for it. Source: a float's usual offset; common
practice."""

# A finish that the readings refute.

FELL_SG: Final = 0.002
"""SG; a fall of this much takes back that it had ended. Source: twice what counts as none (`STEADY_SG`)."""

LASTED_H: Final = 24.0
"""hours; for so long it must have stood higher. Source: common practice; a float lifted by foam or bubbles comes down
again within a day."""

REFUTED_WITHIN_H: Final = 45 * 24.0
"""hours; two points in more than this are no faster than a float's own drift. Source: common practice; drift of about
a point a month."""

COMPARED_WITHIN_C: Final = 3.0
"""°C; readings further apart in temperature are not compared. Source: common practice; a float reads a colder liquid
differently."""

REFUTED: Final = 0.25
"""share of the courses; that end before a fall of two points was seen, from which the inference as a whole is
refuted. Source: no published one; set by trial, figures not kept."""

END_WITHIN_H: Final = 24.0
"""hours; the inferred end may lie this much too early. Source: no published one; within these hours the last of a
fermentation still falls."""

STANDS_ANEW_SHARE: Final = 0.5
"""share of the time that the fall took; a new stand must last so long. Source: over half that time a fall that goes
on as slowly shows a whole point."""

LEAST_BELIEVED: Final = 0.1
"""share of the courses; that the readings do not refute, from which they alone tell what is to come. Source: none
known; with fewer, too few courses are left to tell anything."""

# Stalled.

HALTED: Final = 0.8
"""chance; of a halt, from which it is called stalled. Source: no published one; set by trial, figures not kept."""

STOOD_H: Final = 33.0
"""hours; without movement before a halt is called a stall. Source: no published one; set by trial (36 h before):
shorter plateaus often pass by themselves."""

UNSEEN_H: Final = 40.0
"""hours; where only the course as a whole says that it stands, the readings of so long must show no fall beyond their
error. Source: no published one; set by trial: slow plateaus do."""

UNSEEN_SHARE: Final = 0.5
"""share of `STEADY_SG`; a fall over `UNSEEN_H` below this is none, whatever its error. Source: none known; set by
trial, figures not kept."""

LONG_HALTED: Final = 0.6
"""chance; instead of `HALTED` for what has held for `LONG_STOOD_H` or was called stalled before. Source: no published
one; the first advice, a hand sample, costs less than another day of waiting."""

LONG_STOOD_H: Final = 40.0
"""hours; a hold from which `LONG_HALTED` does. Source: as for `LONG_HALTED`."""

# Which hypotheses of a halt are weighed.

HALT_ODDS: Final = 0.10
"""chance; that a fermentation halts before its end, before anything is read. Source: common practice; one in ten or
so."""

FLAT_FROM_H: Final = 36.0
"""hours since pitching; before this a lasting halt is not weighed. Source: none known; a lag looks the same."""

FLAT_LEAST_RATE_SG_H: Final = 5e-5
"""SG per hour; it must have moved as fast as this once. Source: none known; a point in 20 hours."""

FLAT_H: Final = 18.0
"""hours; over the last of which the gravity has hardly moved where a lasting halt is weighed. Source: none known; set
by trial, figures not kept."""

FLAT_SHARE: Final = 0.15
"""share of the quickest rate; slower is hardly moving. Source: none known; set by trial, figures not kept."""

FLAT_HELD_H: Final = 24.0
"""hours; what has held for so long may have halted, whatever its last rates say. Source: none known; set by trial,
figures not kept."""

FLAT_UNSEEN_H: Final = (24.0, 40.0)
"""hours; over either of which no fall beyond `FLAT_BEYOND` may be seen, of a float that scatters by points. Source:
none known; set by trial, figures not kept."""

FLAT_BEYOND: Final = 3.0
"""standard errors; a smaller fall is not seen. Source: common usage of three standard errors."""

STAND_H: Final = 14.0
"""hours; a shorter stand in the past is no halt that is over. Source: none known; set by trial, figures not kept."""

STAND_SG: Final = 0.0015
"""SG; within this half-day levels stay during such a stand. Source: none known; set by trial, figures not kept."""

STAND_BEFORE_SG: Final = 0.004
"""SG; it must have fallen by this before the stand. Source: none known; set by trial, figures not kept."""

STAND_GOES_ON_SG: Final = 0.0025
"""SG; it must have fallen by this after the stand. Source: none known; set by trial, figures not kept."""

STAND_SLOWER: Final = (4.0, 2.5)
"""factors; the fall before, and after, must have been so many times as fast as during the stand. Source: none known;
a tail that only slows down has nothing faster after it."""

STAND_ENDED_WITHIN_H: Final = 36.0
"""hours; a stand that ended within these is told from rates, since levels cannot show it yet. Source: none known; set
by trial, figures not kept."""

ENDED: Final = 0.9
"""share of the weight; that has less than a point left, from which a halt need not be weighed. Source: none known;
set by trial, figures not kept."""

ENDED_FURTHER_SG: Final = 0.002
"""SG; where few such batches would go on by this, a halt need not be weighed. Source: as `FAR_SG`."""

ENDED_FEW: Final = 0.05
"""chance; few such batches are less than this. Source: common usage of one in twenty."""

HALT_BEGAN_BEFORE: Final = 0.9
"""share of the courses; a halt can have begun until so many have ended, and `FLAT_H` later. Source: none known; set
by trial, figures not kept."""

ADDITION_SG: Final = 0.0005
"""SG; a feed or a dilution that moves the gravity by less is not reckoned with. Source: none known; half a point
cannot be told from scatter."""

# A forecast, given or not.

LEAST_BINS: Final = 3
"""bins; with fewer it is too early to say anything. Source: none known; two bins tell a line, not a curve."""

VAGUE_SG: Final = 0.010
"""SG; without earlier batches and expectation, a fall to come that is known no better (10 to 90 %) gives no forecast
where `VAGUE_H` holds too. Source: no published one; ten points, more than an ordinary tail."""

VAGUE_H: Final = 240.0
"""hours; the same for the finish. Source: no published one; ten days, more than an ordinary ale takes."""

LEAST_FINISHING: Final = 0.5
"""share of the weight; that ends at all within the horizon, below which no forecast is given. Source: none known; a
date that is less likely than not to exist is no date."""

LEAST_CREEP_SG: Final = 0.0003
"""SG; a fall after dry hops below this is not told. Source: none known; below the wandering of most floats."""

# Phases.

ACTIVE_DONE: Final = 0.03
"""share of the fall; done, at which the lag ends. Source: no published one; a point or two of an ordinary ale."""

SLOWING_DONE: Final = 0.75
"""share of the fall; done, at which it slows at the latest. Source: no published one; the easy sugars are gone by
then."""

SLOWING_RATE: Final = 0.25
"""share of the quickest rate; below which it is slowing. Source: none known; set by trial, figures not kept."""

STEADY_DONE: Final = 0.95
"""share of the fall; done, from which it is called steady where the last day shows less than a point. Source: none
known; set by trial, figures not kept."""

STEADY_HELD_H: Final = 24.0
"""hours; a hold from which it is called steady. Source: common practice; two like readings a day apart."""

CREEPING_SG: Final = 0.0008
"""SG; fall after the hops from which the phase is called creeping. Source: none known; nearly a point."""

# What is worth saying.

FLOAT_OFF_SG: Final = 0.0012
"""SG; a float further off than this, by what we infer, is worth a sentence. Source: none known; the course runs
visibly beside its points then."""

FLOAT_OFF_OVER_H: Final = 12.0
"""hours; over the last of which it is seen how far a float is off. Source: the window of a level."""

WARMER_C: Final = 1.0
"""°C; a change of temperature that is reckoned with is worth a sentence from here on. Source: none known; what a
thermostat keeps."""

FORCED_TEST_CHANCE: Final = 0.1
"""chance; of being finished, above which a steady batch is advised a forced test. Source: none known; below it more
time is the better advice."""

ENDING_WORTH: Final = 0.9
"""share of a variance; earlier batches are asked for their ending where they know it better than this share of what
the features imply. Source: none known; a smaller gain is not worth its error."""

# What a finished batch teaches.

TEACHES_BINS: Final = 12
"""bins; a finished batch with fewer teaches nothing. Source: none known; as many as there are features."""

TEACHES_LEFT_SG: Final = 0.0025
"""SG; a batch with more left by most courses never came to its end, and teaches nothing. Source: none known; two points
and a half, beyond what a tail leaves."""

TEACHES_ENDED: Final = 0.5
"""share of the weight; that must have less than `TEACHES_LEFT_SG` left. Source: none known; more likely than not."""
