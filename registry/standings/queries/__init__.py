from registry.standings.queries.answers import (
    USUAL_CUT_ON_NM,
    BandAnswer,
    LensAnswer,
    ZoneAnswer,
    lens_answer,
    standing_rows,
)
from registry.standings.queries.conditions import Condition, NamedCause, conditions_of, named_causes
from registry.standings.queries.evidence import gather_evidence
from registry.standings.queries.excess import ZoneExcess, excess_of
from registry.standings.queries.facets import Choice, Facets, facets_of
from registry.standings.queries.findings import FindingSummary, findings_of
from registry.standings.queries.history import history_of, open_conflicts
from registry.standings.queries.instead import Alternative, instead_of, needs_alternatives
from registry.standings.queries.lens_filters import LensFilters
from registry.standings.queries.lookup import (
    Criteria,
    LensList,
    LensRow,
    filter_lenses,
    lens_rows,
    list_lenses,
)
from registry.standings.queries.mount_table import MountGroup, MountRow, mount_table
from registry.standings.queries.paths import PathSaid, paths_of
from registry.standings.queries.pending import refresh_is_due
from registry.standings.queries.priors import edition_in_force, priors_in_force
from registry.standings.queries.proof import Proof, proof_of_verdicts
from registry.standings.queries.sayings import Camp, Saying, camps_in_words, result_in_words, sayings_of
from registry.standings.queries.situations import Situation, situation_of
from registry.standings.queries.stamps import (
    LensStamp,
    StampStatement,
    catalogue_figures,
    catalogue_stamp,
    figure_of,
    lens_stamp,
)

__all__ = [
    "USUAL_CUT_ON_NM",
    "Alternative",
    "BandAnswer",
    "Camp",
    "Choice",
    "Condition",
    "Criteria",
    "Facets",
    "FindingSummary",
    "LensAnswer",
    "LensFilters",
    "LensList",
    "LensRow",
    "LensStamp",
    "MountGroup",
    "MountRow",
    "NamedCause",
    "PathSaid",
    "Proof",
    "Saying",
    "Situation",
    "StampStatement",
    "ZoneAnswer",
    "ZoneExcess",
    "camps_in_words",
    "catalogue_figures",
    "catalogue_stamp",
    "conditions_of",
    "edition_in_force",
    "excess_of",
    "facets_of",
    "figure_of",
    "filter_lenses",
    "findings_of",
    "gather_evidence",
    "history_of",
    "instead_of",
    "lens_answer",
    "lens_rows",
    "lens_stamp",
    "list_lenses",
    "mount_table",
    "named_causes",
    "needs_alternatives",
    "open_conflicts",
    "paths_of",
    "priors_in_force",
    "proof_of_verdicts",
    "refresh_is_due",
    "result_in_words",
    "sayings_of",
    "situation_of",
    "standing_rows",
]
