"""What a run found, as typed values."""

from habitatmap.result.figures import Figures, Missing, Stage
from habitatmap.result.findings import Findings
from habitatmap.result.inline import InlinePage
from habitatmap.result.result import Result

__all__ = ["Figures", "Findings", "InlinePage", "Missing", "Result", "Stage"]
