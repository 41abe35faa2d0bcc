"""Every number the consensus rests on, named once, with its reason.

Where a reason says *prototype*, the value was chosen on simulated lenses and is checked by
`tests/benchmarks/consensus_calibration.py`; where it says *convention*, the project settled it.
"""

from __future__ import annotations

METHOD_VERSION = "2026.4"
"""Changes whenever a number or a rule of this room changes; stored with every standing."""

# --- What counts as clean -----------------------------------------------------------------------------

VISIBLE_EV = 0.10
"""Visible threshold, EV above the baseline. Convention: 7 % in luminance, a few times the contrast
threshold of an attentive observer for broad patches."""

VISIBLE_EV_RANGE = (0.03, 0.30)
"""Tolerances a reader may ask for. Below it measurement noise rules, above it every grade is "hot"."""

GRADE_EV = ((0.0, 0.05), (0.05, 0.10), (0.10, 0.30), (0.30, 0.70), (0.70, 1.40))
"""Excess (EV) that eye grades 0 to 4 stand for. Convention; the last is open, closed at twice its start."""

GRADE_CLEAN = (0.995, 0.93, 0.07, 0.01, 0.003)
"""P(clean) that eye grades 0 to 4 give at the default threshold. Prototype."""

GRADE_CLIP = (0.003, 0.997)
"""No grade or claim is surer than this at any threshold: as sure as the surest grade at the default."""

GRADE_BLUR_EV = 0.05
"""How blurred a grade's bounds are, standard deviation in EV: two people grade the same frame one
grade apart near a bound."""

READING_FLOOR_EV = 0.03
"""Error of a measured excess beyond its stated one: light, target and set-up between two evenings."""

UNSTATED_SE_EV = 0.04
"""Standard error taken for a measured excess that comes without one: a single frame's."""

READING_CLIP = (0.005, 0.995)
"""No single frame is surer than this: frames get mislabelled."""

HOT_CLAIM_EV = (0.10, 0.30)
"""Excess a claim's first hot stop stands for: just past the limit, thus grade 2."""

CLEAN_CLAIM_EV = (0.0, 0.10)
"""Excess a claim's clean stop stands for: grades 0 and 1."""

CLEAN_TO = (0.97, 0.12)
"""P(clean) at the stop a claim calls the last clean one, and one stop on. Prototype."""

HOT_FROM = (0.03, 0.88)
"""P(clean) at the stop a claim calls the first hot one, and one stop wider. Prototype."""

CLEAN_ALL = 0.97
"""P(clean) at the narrowest stop a claim of "clean throughout" is taken to speak of."""

CLEAN_ALL_REACH_AV = 8.0
"""A claim of "clean throughout" is taken to speak of f/16 at most: few people try the stops beyond."""

HOT_ALL = 0.02
"""P(clean) at the widest stop where a claim says "hot throughout"."""

# --- The scale ------------------------------------------------------------------------------------------

GRID_FROM_AV, GRID_STEP_AV, GRID_POINTS = -2.0, 1.0 / 6.0, 90
"""Grid of aperture values: bins of a sixth of a stop whose edges are the marked third and half stops."""

SAME_STOP_AV = 0.17
"""Two f-numbers within this are the same stop: just over half a third stop."""

LADDER_CLEARANCE_AV = 0.25
"""A full stop nearer than this to a lens's widest or narrowest one is no rung of its own: a quarter stop is a
maker's rounding."""

# --- How reports scatter ----------------------------------------------------------------------------------

SPREADS = (0.27, 0.4, 0.6, 0.9, 1.35, 2.0)
"""Candidate standard deviations, in stops, of the limit between independent tests of one lens: each half as wide
again as the one before."""

EARLIER_SPREADS = (0.35, 0.5, 0.7, 1.0, 1.4, 2.0)
"""Those of the methods before 2026.4, whose editions of the priors don't name them."""

SPREAD_MEDIAN, SPREAD_LOG_SD = 0.62, 0.5
"""Base distribution of that spread over lenses: log-normal. Prototype; a catalogue of some dozens of lenses
teaches its own."""

SHARED_SHARE = 0.7
"""Share of that variance that two reports of one cluster (tester, copy or source) have in common."""

UNSTEADY_SHARE, UNSTEADY_FROM = 0.05, 3
"""Chance, for a cluster's second and again for its third different report, that the cluster contradicts itself for
reasons of its own. Then its reports are averaged, so that a flood of contradictions by one voice moves no more than
one report of it could; else they are multiplied, which what they have in common keeps below 1/SHARED_SHARE reports
by strangers. Prototype."""

STRAY_SHARE = 0.05
"""Chance that a cluster describes something else: another lens, another stop, a scene for a target."""

CELL_SPREAD_AV = 0.7
"""Base standard deviation, in stops, of one lens's limits between its cells (cut-on band × focal zone)."""

CELL_SPREADS_AV = (0.1, 0.2, 0.35, 0.5, 0.7, 1.0, 1.4)
CELL_SPREAD_LOG_SD = 0.7
"""What a catalogue may teach about it instead, and how firmly the base is held (log-normal around it): some
dozens of lenses with several cells move it far."""

SHARED_ACROSS_CELLS = 0.35
"""Correlation of one cluster's limits in two cells, given the lens: SHARED_SHARE s² / (s² + CELL_SPREAD_AV²)
at s = 0.7. A cluster in k cells therefore weighs 1/(1 + (k − 1) × this) in each of them for a further cell."""

BAND_SHARES = {"under-640": 0.20, "640-700": 0.20, "700-780": 0.40, "780-up": 0.20}
"""Where a report that states no cut-on is likely to belong. Common practice (720 nm is the usual
conversion), no source."""

GROUP_SHARE = 0.05
"""The same for a group without a single cut-on (full spectrum, band-pass, dual-band)."""

UNKNOWN_ZONES = 4
"""Focal zones a zoom is taken to cover where the catalogue lacks its focal lengths."""

ECHO_VALUES = 3
"""A relay that equals another report in every measured excess is the same evidence, if it shows at least
this many different values: two independent measurements don't agree to the last digit that often."""

# --- Priors over the catalogue ------------------------------------------------------------------------------

LIMIT_MEAN_AV, LIMIT_SPREAD_AV, LIMIT_UNIFORM_SHARE = 6.5, 2.8, 0.15
"""Base distribution of lenses' limits: normal around f/9.5, and a uniform share for the odd ones."""

LIMIT_BASE_LENSES = 5
"""How many lenses those figures count for when a catalogue teaches its own mean, spread and odd share."""

SPREAD_BASE_LENSES = 10
"""The same for the median and the width of the spreads between tests."""

BASE_LENSES = 30
"""How many lenses these curves count for when the catalogue's own distribution, of whatever form, is learned; and
how many cells for a band's offset."""

CAUSE_BASE_LENSES = 100
"""The same for how often causes split reports; more, since few lenses have enough reports to tell."""

EM_PASSES = 8
"""Passes of expectation-maximisation over causes: further ones move no chance by more than .002."""

PRIOR_PASSES, SETTLING_PASSES = 4, 30
"""How often a catalogue's lenses are weighed anew while priors are learned, and how many passes of
expectation-maximisation each of these takes: spreads settle slowly, since one lens tells little about its own."""

PRIOR_SMOOTHING_AV = 0.5
"""The learned distribution is smoothed by this, in stops, so that gaps between lenses stay possible."""

EXCESS_EXPONENT, EXCESS_EXPONENT_SPREAD = 1.4, 0.45
"""Excess grows about as N to this power; with its relative spread. Moves the prior for another
tolerance: a doubled threshold is reached 1/.7 stops later."""

# --- Verdict and confidence -------------------------------------------------------------------------------

SAFE_CHANCE = 0.75
"""Chance of a clean frame from which a stop is stated as clean (PMIN)."""

NEVER_CHANCE = 0.25
"""At or below this at the widest stop, a lens is never clean."""

DIFFER_EACH_SIDE, DIFFER_SHARE, DIFFER_GAP_AV = 2, 0.25, 1.0
"""Reports differ when this many clusters, and this share, stand on each side a full stop apart."""

FEW_REPORTS, FEW_GAP_AV = 3, 2.0
"""With so few clusters one on each side is enough, if two stops lie between them."""

CAMP_LIKELIHOOD_RATIO = 3.0
"""A cluster says nothing about limits whose likelihood is within this factor of its best: a frame
measured near the threshold is neither camp's."""

FIRM_COUNT, FIRM_CHANCE = 5, 0.5
FAIR_COUNT, FAIR_CHANCE = 3, 0.3
"""Independent reports, and 5 % bound of the chance at the stated stop, that make a verdict firm or fair."""

BAND_TAIL = 0.05
"""Probability beyond each end of every published interval: intervals hold 90 %."""

# --- Disagreement -------------------------------------------------------------------------------------------

SUSPECT_P = 0.01
"""Two-sided predictive probability below which a report goes to a moderator."""

CAUSE_SHIFTS = (0.67, 1.0, 1.5, 2.25, 3.0, 4.0)
"""Shifts of the limit, in stops, that a cause is tried with, in both directions."""

CAUSE_SHIFT_SPREAD = 2.0
"""Standard deviation of the normal weights that those shifts have before a catalogue has taught others."""

EFFECT_BASE_CAUSES = 20
"""How many causes those weights count for when a catalogue teaches how far causes shift limits, first over all
factors, then each factor's own way: some tens of causes are needed before their sizes show."""

LEVEL_BASE_CAUSES = 5
"""How many causes stand behind each body, position or method beforehand, when a catalogue teaches which of them
split lens after lens."""

CAUSE_ODDS = {
    "cut_on": 0.14,
    "filter_position": 0.08,
    "focal": 0.08,
    "body": 0.05,
    "copy": 0.05,
    "method": 0.03,
}
"""Base probability that a lens's reports are split by this factor (nothing: the rest, .57). Prototype."""

CAUSE_LIKELY = 0.75
"""Posterior from which a cause is named. On 1,620 simulated lenses of ten reports, 687 of them with a cause, the shares
of wrong causes and of false alarms together were .015 from here, .023 from .7 and .029 from .65, each step finding a
sixtieth more of the lenses with a cause."""

CAUSE_SIDE_COUNT = 2
"""Clusters a side that a contrast needs, unless one contributor stands on both sides."""

CUT_ON_RANGE_NM, FOCAL_RANGE_OCTAVES = 60.0, 0.4
"""Ranges that a trend over cut-on or focal length needs before it is tried."""

TREND_REACH = 0.75
"""A trend over cut-on or focal length is carried beyond the reports by half of half their range at most (they
span −½ to ½): further out nobody knows whether it goes on."""

# --- What to test next ------------------------------------------------------------------------------------

READERS_STOPS_AV = (3.0, 4.0, 5.0, 6.0, 7.0, 8.0)
"""Stops that readers use (f/2.8 to f/16); a wanted test is worth what it teaches about these."""
