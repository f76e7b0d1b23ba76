"""Every number that decides: unit, meaning, and where it comes from.

Below each stands its docstring in one form, ``<unit>; <meaning>. Source: <source>.``, which `tests/documents.py`
reads to print them as a table. A *point* is 0.001 SG. "Set by trial" means: on simulated fermentations, by
``tests/benchmarks/forecast.py`` on tuning seeds, before figures of such trials were kept with the number. Whoever moves
one runs that before and after.

This module imports nothing of the package, so that every room can take its numbers from here.
"""

from __future__ import annotations

from datetime import timedelta
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

HAND_APART_H: Final = 36.0
"""hours; samples by hand that are to show a hold lie at least so far apart. Source: common practice: the same reading
two or three days apart; a day and a half lets a daily reading be late."""

HAND_STRAY_SG: Final = 0.0015
"""SG; so far a hand sample may stray from the middle of those that hold. Source: common practice: a hydrometer is read
to a third of a division to one division of two points; two standard errors of 0.0007."""

HAND_RISE_SG: Final = 0.002
"""SG; by so much samples by hand may seem to rise while the gravity stands. Source: as `HAND_STRAY_SG`, two standard
errors of a difference; on measured wines of one laboratory six of eighteen rose by 0.0008 to 0.0018 after their end."""

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

SILENCE_H: Final = 36.0
"""hours; a longer silence of the floats adds nothing to a hold. Source: common practice; silence is not stability. A
float that reports once a day may be late by half a day."""

SILENCE_INTERVALS: Final = 2.5
"""usual intervals; a silence is also longer than so many of them. Source: none known; two in a row that are missing, of
a log with a reading every few days."""

# Calibration.

LEAST_SPAN_DEG: Final = 0.1
"""°; points of a float's curve that lie closer together are of one inclination. Source: none known; an inclinometer
shows tenths or hundredths, and the span of a float from water to a strong wort is 20 or more."""

# Chill.

CHILL_C: Final = 6.5
"""°C; colder by more than this than where it fermented counts as chilled: a plateau is no evidence then. Source:
common practice; between a cool night and a crash."""

CHILL_BEGINS_C: Final = 1.5
"""°C; a chill began where it was last within this of where it fermented. Source: none known; set by trial, figures
not kept."""

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

FAR_SG: Final = 0.002
"""SG; so much left is far from finished. Source: common practice; with two points to go bottles burst."""

FAR: Final = ((0.04, 12.0), (0.08, 48.0))
"""chance, hours; of `FAR_SG` or more left at most, for what has held so long, to be called finished; in the cold, where
anything holds, only the first. Source: no published one; 252 runs of the four tuning sets, learnt: none called early,
12 h late (48 h in one of ten); at 0.05 one early, at 0.07 four; without the second step, of 18 measured wines read by
hand 10 called finished instead of all."""

SETTLED_H: Final = 18.0
"""hours; over so long a float must fall more slowly than by `STEADY_SG` a day to be called finished, however surely
earlier batches ended at once. Source: common practice, the rule of one point; 252 runs of a cellar whose ends differ
fourfold: called early 11 instead of 14; of 336 others 1 and 1, said 14 instead of 12 h late, measured beers 17 instead
of 13 h; with a whole day 8 and 16 h, but of eleven measured beers 9 instead of 10 said, 23 h late."""

UNKNOWN_CHANCE: Final = 0.5
"""chance; of being finished at most, where no fall has been seen or the float itself is in doubt. Source: definition:
nothing is known then."""

TAKEN_BACK: Final = 0.35
"""chance; of `FAR_SG` or more left, above which a finish is taken back. Source: no published one; on the same runs, by
the first step alone and events left out, 15 are taken back at 0.25, 13 at 0.35, and at 0.5 nine, with four early."""

UNBELIEVED_SD: Final = -3.2
"""standard deviations; an end further above the expected one is believed only after a forced test. Source: none known;
a stall looks the same for weeks. Longer holds for an end 1.6 and 2.6 above it spared no early call on the same runs."""

UNKNOWN_HOLD_H: Final = ((-0.8, 12.0), (-2.6, 96.0))
"""standard deviations, hours; for how long it must have held, by how far at most the end lies above the expected one,
where only the drink's habits say where that is; further above, only a forced test is believed. Source: no published
one; a pause of three days is common, and how far such a yeast goes is not known. 144 runs of three families without
history: with 120 h, and 240 h from 1.6 on, 25 ends are not said instead of 20, and no call less is early."""

HALT_DOUBT: Final = 0.1
"""chance; of a lasting halt, above which what ends further above the expected end than `HALT_DOUBT_SD` is not called
finished where only the drink's habits are known. Source: no published one; on the same 144 runs it spares one of six
early calls, a lager that stopped four points short."""

HALT_DOUBT_SD: Final = -0.6
"""standard deviations; see `HALT_DOUBT`. Source: none known; nearer, the chance of two points more says enough."""

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

# Begun, and what makes a float doubtful.

BEGUN_SG: Final = 0.0015
"""SG; the readings must fall by this before it is said to have begun, and more where they scatter by more. Source:
common practice, no published one; beyond what a float drifts in its first days."""

MISSED_DONE: Final = 0.2
"""share of the fall; done, from which a fall counts that no reading showed, since the float came later. Source: common
practice, no published one; more than the offset of a float."""

LAG_USUAL_H: Final = 24.0
"""hours; most fermentations show a fall by then. Source: common practice, no published one."""

LAG_WORRY_H: Final = 72.0
"""hours; what shows no fall by then wants yeast, warmth or oxygen. Source: common practice, no published one: three
days, since spoilage begins where yeast does not."""

DRIFT_SG_PER_DAY: Final = 0.001
"""SG a day; a fall up to this that does not slow down looks like the drift of a float. Source: common practice: floats
drift by a point a month to a point in a day; what ferments in earnest is faster."""

DRIFT_LEAST_SG: Final = 0.003
"""SG; so much it must have fallen in all. Source: `HAND_AGREES_SG`; less lies within what float and hand differ by."""

DRIFT_LEAST_H: Final = 7 * 24.0
"""hours; for so long it must have been seen. Source: common practice, no published one: the tails of beers are over by
then."""

DRIFT_ALIKE: Final = 0.75
"""ratio; the fall of the one half of the span to that of the other is within it and its inverse. Source: an exponential
tail whose time constant is less than 12 days is slower in the second half of a week."""

DRIFT_KNOWN: Final = 0.4
"""share; of the fall of the first half, above which the error of the difference of both halves leaves open whether it
slows down. Source: chosen: a tail that is half as fast must show."""

DRIFT_BEYOND: Final = 3.0
"""standard errors; each half must fall by more. Source: common usage of three standard errors."""

SWING_OVER_H: Final = ((72.0, 1.5, 3.0), (120.0, 6.0, 2.0), (168.0, 6.0, 2.0))
"""hours, hours, factor; over the last of which it is seen whether a float swings, how wide the medians are by which the
readings are looked at, and so many swings all rises together must make up. Source: chosen: three nights, by half a fine
bin, for twice is no habit; then up to a week by quarters of a day, in which scatter rises by nothing to speak of."""

SWING_SG: Final = 0.0025
"""SG; a float that swings by this is named. Source: chosen: more than the rule of one point can bear, and more than
usual floats scatter by over three hours."""

LEVELS_BEYOND: Final = 5.0
"""standard errors; half-day levels that lie no further apart swing by the float's scatter alone. Source: studentized
range: of six, 0.5 in 100 by chance."""

SAME_FIGURE_H: Final = 24.0
"""hours; one figure to the last digit for so long is named. Source: common practice, no published one: no float that
floats is that quiet."""

SAME_FIGURE_LEAST: Final = 12
"""readings; fewer are not asked whether they are all the same. Source: none known; every two hours of a day."""

BEYOND_ORIGINAL_SG: Final = 0.010
"""SG; above the original gravity by more, a float cannot be right. Source: chosen: twice the offset of a float that
was never calibrated, and honey that dissolves late."""

MOST_ATTENUATION: Final = 1.0 / 0.8192
"""share; apparent attenuation when every sugar is eaten. Source: Balling's ratio of real to apparent attenuation,
0.8192."""

ALIKE_SG: Final = 0.005
"""SG; a float may be off by so much and still tell something. Source: common practice, no published one; floats that
were calibrated once."""

# Cold.

COLD_FOR_IT_C: Final = 2.0
"""°C; colder by this than what is usual, or than where it fermented, is told beside a stall or a late begin. Source:
common practice, no published one; less is what a thermostat keeps."""

# A slow fall since it is said to have ended.

STORED_DAYS: Final = 60.0
"""days; for which a slow fall is reckoned to go on in a closed package. Source: common practice; two months, within
which most bottles are drunk."""

TREND_SG_DAY: Final = FAR_SG / STORED_DAYS
"""SG per day; a slower fall since the end is none: it makes `FAR_SG` in `STORED_DAYS`. Source: by definition; about a
point a month, as floats drift (common practice)."""

TREND_BEYOND: Final = 3.0
"""standard errors; by so many a fall since the end must exceed `TREND_SG_DAY` to take the end back. Source: common
usage; one in seven hundred by chance."""

NEWEST_BEYOND: Final = 4.5
"""standard errors; instead of `TREND_BEYOND` for the newest days alone. Source: 60 simulated stands of each of four
floats: lines over four and eight days lay up to 4.5 of their errors off, where a float wanders over days."""

TREND_NEWEST_H: Final = (48.0, 96.0, 192.0)
"""hours; the newest stretches that are asked by themselves whether it falls again. Source: none known; from two days,
doubling."""

TREND_RENEWED_H: Final = 96.0
"""hours; a stand after a slow fall must be at least so long to be told from it. Source: none known; within it a fall of
a quarter point a day makes a point."""

LEAST_TREND_BINS: Final = 6
"""bins; with fewer since the said end no slow fall is looked for. Source: none known; as many as the kinds of error
that are told apart."""

LEAST_TREND_H: Final = 18.0
"""hours; in less since the said end no slow fall is looked for. Source: none known; shorter than a float wanders."""

BY_WARMTH_SG_C: Final = 0.0003
"""SG per °C; standard deviation of what a float reads otherwise when it is warmer or colder. Source: the density of
water changes by 0.0002 a degree at 20 °C (CRC Handbook, from memory); a float's correction may double it."""

SAMPLED_SHARE: Final = 0.5
"""share of the time since the said end; that two hand samples or more must span to show that the float drifts. Source:
none known; over half of the time a fall shows half of itself."""

SAMPLED_DRIFT_SG_DAY: Final = 0.0005
"""SG per day; standard deviation of a float's drift where hand samples stand against it: a fouled float's. Source: none
known; half a point a day."""

CULTURE_HOLD_H: Final = 504.0
"""hours; a diastatic yeast or a mixed culture must be seen to hold for so long, unless a forced test agrees. Source:
common practice, no published one: three weeks."""

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

STAND_KNOWN_H: Final = 60.0
"""hours; a stand that lasted so long shows by its own half-day levels how much they wander, and moves only where the
newest lies below them by more. Source: five levels tell a scatter."""

STAND_BEYOND: Final = 3.0
"""standard deviations; the newest level must lie so far below those of the stand. Source: common usage of three."""

# Which hypotheses of a halt are weighed.

RENEWED_ODDS: Final = 0.01
"""chance; that what has ended ferments anew and slowly, before anything is read since. Source: none known; that of one
batch in a hundred, for a contamination or a yeast that wakes up."""

RENEWED_CULTURE_ODDS: Final = 0.2
"""chance; the same of a diastatic yeast or a mixed culture. Source: none known; such cultures often creep (common
practice)."""

RENEWED_SG_DAY: Final = 0.0003
"""SG per day; how fast it then falls, as the standard deviation of a half normal. Source: common practice, no source: a
point in three days, seven points in six weeks."""

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

ADDITION_GIVEN_SD_SG: Final = 0.002
"""SG; error of a step by a gravity that was read after an addition, against the float before it. Source: none known; a
careful reading on either side, and what has not yet mixed."""

ADDITION_READ_SD_SG: Final = 0.005
"""SG; at least so far a step may be from what the readings on either side of it show. Source: none known; they decide
in the end, this only says where to look."""

ADDITION_READ_SHARE: Final = 0.3
"""share of the step; likewise. Source: none known; as `ADDITION_READ_SD_SG`."""

ADDITION_UNKNOWN_SD_SG: Final = 0.02
"""SG; how far an addition of which nothing is known may move the gravity. Source: none known; 1 kg of sugar in 20 L
moves it by 17 points (mass balance)."""

ADDITION_SEEN_WITHIN_H: Final = 30.0
"""hours; readings so near to an addition show its step. Source: none known; the widest bins of a record of weeks are
about a day."""

# A forecast, given or not.

LEAST_BINS: Final = 3
"""bins; with fewer it is too early to say anything. Source: none known; two bins tell a line, not a curve."""

VAGUE_SG: Final = 0.010
"""SG; without earlier batches and expectation, a fall to come that is known no better (10 to 90 %) gives no forecast
where `VAGUE_H` holds too. Source: no published one; ten points, more than an ordinary tail."""

VAGUE_H: Final = 240.0
"""hours; the same for the finish, and a finish that is known no better gives no date at all where `VAGUE_RATIO` and
`VAGUE_UNTIL` hold too. Source: no published one; ten days, more than an ordinary ale takes."""

VAGUE_RATIO: Final = 1.5
"""ratio; of the range of the finish (10 to 90 %) to the time until its middle, above which a date would be a guess.
Source: chosen: the middle may then be off by three quarters of itself."""

VAGUE_SLACK: Final = 2.0
"""factor; of the three limits above where a date was given before, so that it does not come and go while the time to it
runs down beside its range. Source: chosen: twice as vague is no longer the same answer.
"""

VAGUE_UNTIL: Final = 0.9
"""share of the fall; done, from which a date is given however wide its range. Source: chosen: what is left then is a
tail, and a wide range says more than none."""

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

FLOAT_OFF_SG: Final = 0.001
"""SG; a float as far off as this, by what we infer, is worth a sentence. Source: none known; a gravity that is shown is
never more than a point from fresh readings without its reason."""

FLOAT_SEEN_OFF_SG: Final = 0.0003
"""SG; from here on dots are seen to lie beside the line of a picture, and it says why. Source: tried on screens; half
of the width of the line."""

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

TEACHES_FROM: Final = 4
"""readings (bins of a float); of fewer a finished batch teaches nothing. Source: none known; one for the speed, one for
where it ends, and one more for each.
"""

TEACHES_BINS: Final = 12
"""bins of a float; a finished batch with fewer tells of its speed and its end, not of its tail. Source: none known; as
many as there are features."""

TEACHES_SPEED_LEFT: Final = 0.5
"""share of the fall; a batch that never came to its end tells of speed only where less was left. Source: none known; of
the rate of a course that has not passed its middle the readings tell little."""

TEACHES_LEFT_SG: Final = 0.0025
"""SG; a batch with more left by most courses never came to its end, and tells nothing of it. Source: none known; two
points and a half, beyond what a tail leaves."""

TEACHES_ENDED: Final = 0.5
"""share of the weight; that must have less than `TEACHES_LEFT_SG` left. Source: none known; more likely than not."""


# Which days are said, and when they move.

FRESH_WITHIN: Final = timedelta(hours=24)
"""span of time; how old the newest reading may be on packaging day. Source: common practice: the steady rule of the
trade asks for the same gravity on the day itself; no published one."""

SAMPLES_APART: Final = timedelta(hours=48)
"""span of time; two hand samples that agree must be taken so far apart where no float shows the hold. Source: common
practice, no published one."""

CONTACT_SLACK_DAYS: Final = 2
"""days; how long after the end of the contact packaging still makes sense while the hops are in. Source: none known;
chosen."""

LATER_BY: Final = 0.12
"""chance; by how much a said day may fall below the wished one before it moves to a later day. Source: none known;
set by trial, figures not kept."""

EARLIER_BY: Final = 0.08
"""chance; how much more than wished an earlier day must have to take the place of a said one. Source: none known; set
by trial, figures not kept."""

HOLD_KEPT: Final = 0.85
"""share; of the hold that is enough for a hop day to stay today once it was said, since noise may cut a hold short.
Source: none known; chosen."""

SOONER_DAYS: Final = 2
"""days; by how much early hops may go in before the day counted back: that only lengthens the contact a little, while
later would put packaging off. Source: none known; chosen."""

HORIZON_DAYS: Final = 180
"""days; how far ahead a fitting day is looked for. Source: chosen: longer than the range of any forecast we make."""

EXACT_WITHIN_DAYS: Final = 14
"""days; how far ahead a pair of days exactly one contact apart is looked for before hops must come out on a day
between. Source: chosen: two weeks show each weekday twice."""

SLACK_DAYS: Final = 7
"""days; by how much packaging may follow the end of the contact. Source: chosen: a week shows each weekday once."""

LONGEST_CONTACT_DAYS: Final = 7.0
"""days; hops in longer than this are said to give grassy flavours. Source: common practice, no published one."""

LATE_AFTER: Final = timedelta(hours=3)
"""span of time; how long after the person's hour of work it is too late to begin that day. Source: none known;
chosen."""

EVEN_CHANCE: Final = 0.5
"""chance; the first day that has it is the earliest that a window names. Source: chosen: as likely as not."""

NEARLY_SURE: Final = 0.95
"""chance; the first day that has it is the latest that a window names. Source: convention: one miss in twenty."""

SUREST: Final = 0.999
"""chance; no day still to come is surer than this. Source: definition: 1 is kept for what has happened."""


# Where a drink ends, and what may still ferment in a closed package.

DRY_SG: Final = 1.006
"""SG; a mead, cider or wine above it still holds sugar that yeast can eat. Source: common practice: dry is 0.990 to
1.004."""

DRIEST_SG: Final = 0.990
"""SG; where a mead, cider or wine can end if everything ferments. Source: published ranges: 0.990 to 1.002."""

BEER_LOW: Final = 0.62
"""share; lowest apparent attenuation of beers unless the yeast says otherwise. Source: means of 532 brews lie at 0.78
to 0.86 (Cutaia et al. 2009), lagers of 1873 to 1895 from 0.63 (Wahl and Henius)."""

BEER_HIGH: Final = 0.88
"""share; highest apparent attenuation of beers unless the yeast says otherwise. Source: as for the lowest."""

UNSAID_YEAST_HIGH: Final = 0.95
"""share; as far a beer may go whose yeast's range is not said and that has no forced test, where it has gone far
already. Source: common practice: farmhouse yeasts reach 0.80 to 0.95; no published one."""

UNSAID_YEAST_BEYOND: Final = 0.10
"""share; by so much such a beer may go beyond where it stands. Source: `python -m tests.benchmarks.packagings`, class
slow creep: beers that stood at 0.81 and 0.83 and went to 0.94 had got a go."""

GLUTTON_SG: Final = 1.000
"""SG; where a diastatic yeast or a mixed culture can take a beer. Source: common practice, no published one."""

MIXED_SG: Final = 0.998
"""SG; where a mixed culture can take a beer. Source: common practice, no published one."""

WEAKEST_ORIGINAL_SG: Final = 1.030
"""SG; the original gravity of a weak beer, whose end is asked of one that does not say its own: a stronger one may
end higher, so leaving it out never helps. Source: common practice, no published one."""

STRONGEST_ORIGINAL_SG: Final = 1.110
"""SG; the original gravity of a strong beer or mead, which is counted of one that does not say its own where more of it
would leave more to ferment. Source: common practice, no published one."""

FORCED_TEST_WITHIN_SG: Final = 0.002
"""SG; as far above its forced test a drink still counts as ended. Source: the error of two hydrometer readings;
common practice."""

DOUBTED_ABOVE_SG: Final = 0.004
"""SG; how far above the expected end a beer's forced test is still believed, since mash and lactose leave that much
beside what yeast reaches; a must or honey leaves nothing. Source: common practice, no published one."""

FORCED_TEST_SHORT_SG: Final = 0.006
"""SG; by so much a forced test may have stopped short of which it is not said that it had plenty of fresh yeast.
Source: common practice, no published one; tired yeast stops in the sample as it did in the batch."""

FORCED_TEST_SHORT_SHARE: Final = 0.12
"""share of apparent attenuation; the same of a strong drink, where it is more than `FORCED_TEST_SHORT_SG`. Source: as
for that."""

FORCED_TEST_ERROR_SG: Final = 0.001
"""SG; by so much a sound forced test may end too high. Source: one division of a hydrometer; common practice."""

FORCED_TEST_LEAST: Final = 0.72
"""share; a beer's forced test without fresh yeast that ends at a lower apparent attenuation does not count in full.
Source: common practice, no published one: lagers end at 0.70 to 0.82, ales at 0.65 to 0.80, and a stall among them."""

FORCED_TEST_NOTHING: Final = 0.65
"""share; one that ends no higher counts for nothing, and in between in proportion. Source: as for that."""

UNGROWN: Final = 1.06
"""ratio; of the gas at worst to Balling's, since yeast that hardly grows leaves more of the sugar to it. Source: half
of the way from Balling's 0.463 g CO2 a gram to the 0.514 of sucrose by its atoms."""

YEAST_RANGE: Final = 0.15
"""share; how wide the range of a yeast may be of which only the lower end is given. Source: common practice: 0.80 to
0.95 for farmhouse yeasts, 0.65 to 0.80 for ales; no published one."""

YEAST_BEYOND: Final = 0.06
"""share; by so much a batch may attenuate beyond the range of its yeast, though not beyond `BEER_HIGH` on that account.
Source: the spread from batch to batch that `drinks.py` has for beers; common practice."""

DIASTATIC_HOLD_DAYS: Final = 21.0
"""days; so long the gravity of a diastatic yeast must have held to be believed. Source: common practice: it creeps for
weeks; no published one."""

MIXED_HOLD_DAYS: Final = 60.0
"""days; the same for a mixed culture. Source: common practice: it goes on for months; no published one."""

CULTURE_CREEP_SG: Final = 0.003
"""SG; what such a culture may still ferment after its long hold or its forced test. Source: a point in three weeks with
a time constant of 45 days, or in 60 days with one of 100, leaves 1.7 and 1.2 points; doubled, rounded down."""

CREEP_FADES_DAYS: Final = 14.0
"""days at 15 °C or warmer; hop creep fades with this time constant. Source: 1 °P in 5 of 2 °P in 40 days at 20 °C
(Kirkpatrick and Shellhammer 2018) make 7.2 days; doubled for 15 °C."""

CREEP_WARM_C: Final = 15.0
"""°C; at least so warm a day with hops counts for `CREEP_FADES_DAYS`. Source: common practice, no published one: at
10 °C and colder yeast hardly follows."""

CREEP_LEAST_SHARE: Final = 0.25
"""share; of the published hop creep that may always still come with live yeast. Source: common practice, no published
one: enzymes stay, and yeast may wake again."""

TESTED_CREEP_SG: Final = 0.002
"""SG; what hops may still start after a forced test of the hopped beer. Source: the error of two hydrometer
readings."""

COLDEST_CELLAR_C: Final = 0.0
"""°C; where nobody says how warm it has been since it finished, as much gas as it can hold there is counted. Source:
common practice, no published one."""


# What a package is held against.

CAUTION_VOLUMES: Final = 3.0
"""volumes of CO2; above it a bottle gets a caution. Source: common practice, no published one."""

STOP_VOLUMES: Final = 3.5
"""volumes of CO2; above it no bottle gets a go, and one of unknown rating is stopped. Source: common practice, no
published one."""

UNRATED_BOTTLE_KPA: Final = 527.0
"""kPa above the atmosphere; what a bottle of unknown rating is trusted with. Source: 4 volumes at 30 °C by the fit of
the ASBC chart; 4 volumes is what one maker of one-way beer bottles is quoted as allowing, the lowest figure for an
ordinary beer bottle that we know of."""

NEW_BOTTLE_TEST_KPA: Final = 1200.0
"""kPa above the atmosphere; a worst case above it is a stop where the rating is unknown: a new beer bottle must bear
it in a short test, and used ones fail it more often. Source: GB 4544, as trade pages cite it."""

STILL_VOLUMES: Final = 2.0
"""volumes of CO2; no bottle for still wine is filled with more. Source: 1.98 volumes are the most that a still wine may
hold (27 CFR 26.222)."""

UNRATED_KEG_KPA: Final = 414.0
"""kPa above the atmosphere; what a keg of unknown rating is trusted with. Source: 60 psi, the lowest setting of usual
relief valves and what a maker claims for a plastic keg (trade pages; common practice)."""

HIGHEST_KEG_KPA: Final = 900.0
"""kPa above the atmosphere; no rating of a keg above it is believed. Source: small kegs are marked at most 9.0 bar,
130 psi (encyclopedia), larger ones less."""

RATING_MARGIN: Final = 0.2
"""share; of a rating that is kept free, since reuse, scratches and heat weaken glass. Source: common practice, no
published one."""

HEAD_SPACE_KPA: Final = 100.0
"""kPa; what air sealed in with the drink can add if the neck was not purged. Source: one atmosphere, by Dalton's
law."""

TOLD_VOLUMES: Final = 0.1
"""volumes of CO2; gas that something beside the drink's own sugar may still make is told from here on. Source: a
twentieth of an ordinary carbonation (by definition)."""

RARE_FALL: Final = 4.0
"""ratio; a fall of this many times its 90th percentile comes once in ten thousand. Source: an exponential tail."""

HIGHEST_CELLAR_M: Final = 1500.0
"""m; the altitude at which a closed package is taken to stand unless one is said, since a gauge reads more in thinner
air. Source: Tremblay and Ainslie 2021 (PNAS 118, e2102463118): one in sixteen people lives higher (from memory)."""

LOWEST_PLACE_M: Final = -450.0
"""m; no altitude below it is taken. Source: the shore of the lowest lake, 430 m below the sea (from memory)."""

HIGHEST_PLACE_M: Final = 6000.0
"""m; no altitude above it is taken. Source: the highest town lies at 5,100 m (from memory)."""

HOTTEST_C: Final = 30.0
"""°C; the warmest place in which a package is taken to stand unless said. Source: common practice, no published
one."""

LEAST_CHANCE: Final = 0.001
"""chance; from it on the chance of passing the rating is told as a number. Source: common practice, no published
one."""

SAME_VOLUMES: Final = 0.05
"""volumes of CO2; a drink that holds no more than this beyond the wish is as wished. Source: rounding: half of what
is shown."""

FILL_VOLUMES: Final = 0.3
"""volumes of CO2; what filling may add in the rare case. Source: three times the standard deviation that filling
has."""


# Doses, stabilising, and what comes after packaging.

FILL_SPREAD_VOLUMES: Final = 0.1
"""volumes of CO2; standard deviation of the wished carbonation from weighing, mixing and residual gas. Source: common
practice, no published one."""

COARSE_SHARE: Final = 0.1
"""share; a scale that changes the dose by more than this share of it is too coarse. Source: common practice, no
published one."""

STABILISING_MOLECULAR_PPM: Final = 0.8
"""mg/L; molecular SO2, of free SO2 at the pH and alcohol, below which yeast counts as not held back. Source: Beech et
al. 1979 for white table wine (from memory); 0.5 to 0.8 are printed by wine laboratories."""

PRIMING_SORBATE_PPM: Final = 100.0
"""mg/L of potassium sorbate; from it on no priming sugar is given; any less is a doubt. Source: common practice, no
published one."""

PRIMING_FREE_SO2_PPM: Final = 15.0
"""mg/L; free SO2, as far as it may be free, from which yeast may not carbonate the drink. Source: usual in wine for a
second fermentation in the bottle, common practice, no published one."""

PRIMING_MOLECULAR_PPM: Final = 0.5
"""mg/L; molecular SO2 that goes with that free SO2 at the pH of wine, where less of it leaves yeast alone. Source: 15
mg/L free at pH 3.3 and 10 % vol is 0.7 (OIV-MA-AS323-04C); common practice."""

PRIMING_TOTAL_SO2_PPM: Final = 80.0
"""mg/L; total SO2 from which yeast may not carbonate the drink. Source: as for free SO2, common practice."""

NO_PRIMING_TOTAL_SO2_PPM: Final = 200.0
"""mg/L; total SO2 from which no priming sugar is given. Source: common practice, no published one."""

PRIMING_ALCOHOL_PCT: Final = 10.0
"""% vol; alcohol from which yeast of unknown tolerance may not carbonate a beer or a drink that is not said. Source:
brewer's yeasts are told to bear 9 to 12 % (common practice, no published one)."""

PRIMING_WINE_ALCOHOL_PCT: Final = 13.0
"""% vol; the same of cider, mead and wine. Source: wine yeasts are told to bear 13 to 16 % (common practice, no
published one)."""

SOUREST_PH: Final = 2.9
"""pH; what counts where it is not given and more acid is worse. Source: the lower end of what is usual in wine, common
practice."""

BEER_LIKE_PH: Final = 3.8
"""pH; from it on a usual dose leaves too little molecular SO2: 50 mg/L is 0.5 molecular at 3.8. Source: common
practice, no published one."""

STRONGEST_BALLING_PCT: Final = 12.0
"""% vol; above it Balling's relations, made for beer, are said to be rough. Source: common practice, no published
one."""

LOW_ALCOHOL_ABV_PCT: Final = 2.5
"""% vol; below it alcohol holds next to nothing back that makes people ill. Source: common practice, no published
one; beers without alcohol are pasteurised or filtered for it."""

SUGAR_LEFT_SG: Final = 1.004
"""SG; above it a weak drink holds sugar or dextrins for microbes to live off. Source: none known; chosen."""

ACID_ENOUGH_PH: Final = 4.6
"""pH; above it the spores of Clostridium botulinum can grow out. Source: 21 CFR part 114 (acidified foods), from
memory."""

TEST_AFTER_DAYS: Final = 7
"""days; from packaging to the test bottle. Source: common practice, no published one."""

GUSHED_FALL_SG: Final = 0.003
"""SG; fall that the next sheet counts at least after a lot gushed: about one and a half volumes. Source: common
practice, no published one."""


# Following siblings.

FOLLOWS_PACE_SPREAD: Final = 0.15
"""share of the time since pitching; standard deviation of how much sooner or later a part of the same wort, with the
same yeast and alike warm, comes to the same gravity. Source: none known; chosen."""

FOLLOWS_UNKNOWN_PACE_SPREAD: Final = 0.3
"""share of the time since pitching; the same where it is not known whether both stand alike warm. Source: 3 to 4 °C at
a Q10 of about 2 (common practice, no published one)."""

FOLLOWS_SD_SG: Final = 0.002
"""SG; standard deviation of the gravity besides, from filling, pitching and the siblings' floats. Source: none known;
chosen."""

ALIKE_WARM_C: Final = 1.5
"""°C; so far apart two vessels may stand for their batches to count as alike warm. Source: about a tenth of the pace
at a Q10 of 2 (common practice, no published one)."""

SAMPLE_EVERY_DAYS: Final = 3.0
"""days; after so long a batch without a float asks for a hand sample. Source: common practice, no published one."""

SAMPLE_AT_END_H: Final = 24.0
"""hours; once its siblings have likely finished it asks again after so long. Source: two samples a day apart or more
tell a stand (common practice)."""


# Comparing yeasts, forecasts and curves.

VESSELS_SPREAD_MIDDLE: Final = 1.5
"""factor; the middle of what the spread from vessel to vessel may be, in what is usual of a milestone. Source: none
known; set by trial with `tests/benchmarks/comparisons.py`, see `VESSELS_SPREAD_LOG`."""

VESSELS_SPREAD_LOG: Final = 1.0
"""natural logarithm; how far (standard deviation) that spread may lie from its middle before any batch. Source: none
known; set by trial on 200 comparisons a world, so that ranges hold their share where vessels are twice as alike as
usual and 1.6 times as far apart: a spread that was expected as if seen on four batches gave 89 and 72 %, this one
with its middle at 1.3 gave 82 and 75 %, at 1.8 gave 86 and 77 %; on 500 unseen ones it gives 83 and 76 %."""

GROUPS_SPREAD_SCALE: Final = 1.7
"""factor; scale of the half-t of the spread between groups, in what is usual. Source: none known; set by trial with the
above: at 1 the little that few batches tell is drawn together too far."""

YEASTS_DIFFER: Final = 0.9
"""chance; from it on two yeasts are said to differ, or to be alike. Source: convention: one miss in ten."""

AHEAD_DAYS: Final = 3.0
"""days; a forecast is judged by what was said this long before the finish. Source: common practice: three days of
contact make the hop day."""

CURVE_LEAST_READINGS: Final = 12
"""readings; fewer tell no classical curve: three a parameter. Source: common practice, no published one."""

CURVE_END_TOLD: Final = 0.1
"""share of the fall; largest standard error of the end with which a classical curve is given. Source: none known;
chosen."""


# Milestones of a batch.

MILESTONE_REACHED: Final = 0.9
"""chance; a milestone is told once it lies behind with at least this. Source: convention, as for `YEASTS_DIFFER`."""

MILESTONE_MOST_UNCERTAIN: Final = 0.1
"""chance; a milestone that more of the courses than this never reach, or do not have, is not told: its 90th percentile
would be made up. Source: definition of the percentile."""

MILESTONE_LEAST_SEEN: Final = 4
"""readings, means of some hours each; with fewer between a tenth and nine tenths of the fall neither lag nor rate is
told. Source: definition: as many as the classical curve has parameters; with fewer they are those of other batches."""


# Groups compared: yeasts, arms of a trial, hops.

MOST_MORE_BATCHES: Final = 30
"""batches; where more than this would be needed of each group to tell them apart, it is said that many more would not
do. Source: none known; chosen: years of a small cellar."""

UNKNOWN_TEMPERATURE_SD_C: Final = 2.0
"""°C; standard deviation of the temperature of a batch of which none is known, about that of the others. Source: none
known; chosen: sheds and cupboards differ by a few degrees."""

UNKNOWN_ORIGINAL_SD_SG: Final = 0.006
"""SG; the same for an original gravity. Source: none known; chosen: beers of one style differ by about a degree and a
half of extract."""


# Tasting.

MOST_GLASSES: Final = 6
"""glasses; so many a taster gets in one flight at most. Source: common practice: strong or bitter drinks tire the
palate; no published number."""

PLACE_EFFECT: Final = 5.0
"""points of 100; standard deviation expected of what the place in the order does to a score. Source: none known;
chosen."""

DRINKS_APART: Final = 10.0
"""points of 100; how far drinks of one tasting lie apart most likely (standard deviation), before any score is known.
Source: none known; chosen. On 80 simulated panels each of 3, 4 and 6 tasters 80 % intervals held 75, 81 and 78 %."""

SCORES_APART: Final = 5.0
"""points of 100; what yeasts, hops, doses or contact do to tasters' scores matters from this difference on. Source:
none known; chosen: half of `DRINKS_APART`, below which few would choose one drink before the other."""

SCORES_SINGLE: Final = 6.0
"""points of 100; by so much drinks of one yeast, hop, dose and contact differ all the same (standard deviation), before
any score is known. Source: none known; chosen: a third of the variance that `DRINKS_APART` stands for."""

SCORES_UNKNOWN: Final = 4.0
"""points of 100; for each of yeast, hop, dose and contact that was not written down, a drink's points say less by this
standard deviation. Source: none known; chosen: half of what such things are expected to do."""

SCORES_OTHER_WORT: Final = 8.0
"""points of 100; drinks of several worts say less of yeast, hop, dose or contact by this standard deviation each.
Source: none known; chosen: another recipe may do as much as what is compared."""

SCORE_REST: Final = (3.0, 35.0)
"""points of 100; least and most of what is left of a score once taster, place and drink are taken out (standard
deviation), each size in between as likely. Source: none known; chosen. On simulated panels of three tasters even
chances on a scale of logarithms made intervals too narrow."""

BLEND_GAIN: Final = 0.5
"""share of how far drinks lie apart; by so much a blend of halves is expected to differ from the mean of its two
(standard deviation), beyond it by chance alone. Source: none known; chosen."""

BLEND_STRAY: Final = 0.3
"""share of how far drinks lie apart; standard deviation of what a blend is worth beyond what its shares explain.
Source: none known; chosen."""

BLEND_STEP: Final = 0.1
"""share; blends are worked out in steps of so much. Source: a syringe of 10 mL measures a sample of 100 mL to a few
percent; common practice."""

CLEARLY_BEST: Final = 0.9
"""chance; from it on one drink of a tasting is called the best. Source: convention: one miss in ten."""

TRIANGLE_ALPHA: Final = 0.05
"""chance; a triangle shows a difference where guessing would give so many right answers at most so often. Source:
convention in sensory science (ISO 4120 tabulates it, from memory)."""

TRIANGLE_TELLING: Final = 0.5
"""share of tasters; if so many can really tell, a triangle should show it. Source: none known; chosen as a large
difference."""

FEW_TASTERS: Final = 8
"""tasters; with fewer every result of a tasting is called rough. Source: common practice, no published one; a triangle
of seven needs five right answers."""


# Whether the arms of a trial differ in more than one thing.

ARMS_APART_C: Final = 1.0
"""°C; arms that stood further apart than this differ in temperature. Source: common practice, no published one: what a
thermostat keeps, and about 7 % of the pace at a Q10 of 2."""

ARMS_APART_ORIGINAL_SG: Final = 0.002
"""SG; arms whose original gravities lie further apart differ in them. Source: as `HAND_RISE_SG`, two readings of one
wort."""

ARMS_APART_SHARE: Final = 0.2
"""share; arms whose volumes differ by more, or whose hop doses differ by more than half of it, differ in them. Source:
none known; chosen: small vessels are filled to about a tenth."""

ARMS_APART_DAYS: Final = 1.0
"""days; arms hopped, or left on hops, further apart differ in that. Source: common practice, no published one."""

PITCHED_TOGETHER_DAYS: Final = 0.5
"""days; arms pitched further apart differ in that. Source: as for siblings: a brew day."""
