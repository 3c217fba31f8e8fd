"""What the commands share."""

from __future__ import annotations

import logging

log = logging.getLogger("habitatmap")


def tell(stage: str) -> None:
    """Says on the terminal which stage of a run begins."""
    from habitatmap.result import Stage
    from habitatmap.words.headline import STAGES

    log.info(STAGES[Stage(stage)])
