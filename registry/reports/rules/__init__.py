from registry.reports.rules.light import LIGHT_GROUPS, effective_cut_on
from registry.reports.rules.stops import check_typed_f_number
from registry.reports.rules.submission import check_submission

__all__ = ["LIGHT_GROUPS", "check_submission", "check_typed_f_number", "effective_cut_on"]
