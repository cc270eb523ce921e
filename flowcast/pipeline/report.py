"""All that a page tells: the outlook, and beside it beetles, dates, the last season, past record."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd

from flowcast.errors import NotEnoughDataError
from flowcast.pipeline.backtest import backtest
from flowcast.pipeline.beetles import beetles_from
from flowcast.pipeline.explain import last_season
from flowcast.pipeline.gather import Reach
from flowcast.pipeline.run import SCENARIOS, SEED, outlook
from flowcast.pipeline.timing import timing_from
from flowcast.results import Backtest, YardReport

TRUST_EVERY_D = 28  # outlooks closer together look at much the same days and tell little more


def report(
    folder: Path | str | None = None,
    *,
    at: str | None = None,
    as_of: str | pd.Timestamp | None = None,
    seed: int = SEED,
    scenarios: int = SCENARIOS,
    trust: bool = False,
    reach: Reach | None = None,
) -> YardReport:
    """All that a page tells of the yard in this folder, or of a place on the map.

    Parameters
    ----------
    folder, at, as_of, seed, scenarios, reach
        As for `outlook`.
    trust : bool
        Also issue the outlook from past dates of the last year before this one, and compare; with
        past years' weather ahead, as an outlook without a weather forecast has it.

    Raises
    ------
    InputError, SourceUnavailable, NotEnoughDataError
    """
    reach = reach or Reach()
    reach.tell("the outlook", 0.1)
    found = outlook(folder, at=at, as_of=as_of, seed=seed, scenarios=scenarios, reach=reach)
    reach.tell("the beetles", 0.4)
    beetles = beetles_from(found.record, seed=seed)
    high = beetles.outlook.high_now if beetles.outlook and beetles.presence.lives_here else None
    reach.tell("the dates for the work", 0.5)
    dates = timing_from(found, current=as_of is None, beetles_high=high)
    reach.tell("the last season", 0.6)
    season = last_season(found.record, found.model)
    past, why_none = None, ""
    if trust and folder and found.model.has_log:
        past, why_none = _past(folder, found.outlook.issue_date, reach)
    return YardReport(found, beetles, season, dates, past, why_none)


def _past(
    folder: Path | str, issue_date: pd.Timestamp, reach: Reach
) -> tuple[Backtest | None, str]:
    """The past record, or why there is none; nothing from the issue date on is used."""
    quiet = replace(reach, tell=lambda words, share: reach.tell(f"past outlooks, {words}", share))
    modes = ("past-years",)
    try:
        found = backtest(folder, every=TRUST_EVERY_D, modes=modes, as_of=issue_date, reach=quiet)
    except NotEnoughDataError as error:
        return None, str(error)
    return found, ""
