from registry.reports.models.awaited import AwaitedFrame
from registry.reports.models.bonds import Bond, BondKind
from registry.reports.models.equipment import ConversionKind, Copy, Rig
from registry.reports.models.evidence import Claim, ClaimSays, Finding, FindingKind, Reading, Sweep
from registry.reports.models.grain import FrameGrain
from registry.reports.models.images import ImagePurpose, ImageState, Measurement, SampleImage
from registry.reports.models.imported import ImportedReport
from registry.reports.models.replies import Reply
from registry.reports.models.report import (
    Basis,
    FilterPosition,
    Report,
    ReportRevision,
    ReportState,
)
from registry.reports.models.summary import OwnSummary, SummarySays

__all__ = [
    "AwaitedFrame",
    "Basis",
    "Bond",
    "BondKind",
    "Claim",
    "ClaimSays",
    "ConversionKind",
    "Copy",
    "FilterPosition",
    "Finding",
    "FindingKind",
    "FrameGrain",
    "ImagePurpose",
    "ImageState",
    "ImportedReport",
    "Measurement",
    "OwnSummary",
    "Reading",
    "Reply",
    "Report",
    "ReportRevision",
    "ReportState",
    "Rig",
    "SampleImage",
    "SummarySays",
    "Sweep",
]
