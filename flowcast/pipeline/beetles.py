"""The beetles of a yard: the keeper's word, the soil, the counts, and the runs of weather ahead."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from flowcast.beetle import (
    BeetleOutlook,
    Count,
    draw_traits,
    expected_counts,
    presence_at,
    read_counts,
    read_outlook,
)
from flowcast.pipeline.gather import Reach
from flowcast.pipeline.run import AHEAD_DAYS, SEED, record_of, weather_ahead
from flowcast.results import Record, YardBeetles
from flowcast.yard.folder import TRAPS

DRAWS = 500
# Words of work.csv and causes of steps that nobody wrote down.
UNSETTLING = {
    "swarmed": "swarmed",
    "split": "split",
    "swarm hived": "new",
    "a prime swarm?": "swarmed",
    "an after-swarm?": "swarmed",
}


def beetles(
    folder: Path | str | None = None,
    *,
    at: str | None = None,
    as_of: str | pd.Timestamp | None = None,
    seed: int = SEED,
    draws: int = DRAWS,
    reach: Reach | None = None,
) -> YardBeetles:
    """Beetle breeding weather of a yard or place, and its counts read.

    Parameters are those of `flowcast.outlook`; `draws` is how many ways the beetle and its ground
    could be.

    Raises
    ------
    InputError, SourceUnavailable, NotEnoughDataError
    """
    return beetles_from(record_of(folder, at, as_of, reach), seed=seed, draws=draws)


def beetles_from(record: Record, *, seed: int = SEED, draws: int = DRAWS) -> YardBeetles:
    """The same from a record; where the beetle is not known to live nothing is reckoned."""
    yard, place = record.yard, record.yard.place
    presence = presence_at(place.latitude, place.longitude, yard.settings.beetle.present)
    counts = counts_of(record)
    if presence.kept_out:
        return YardBeetles(record, presence, None, (), tuple(counts), None, seed)
    found = beetle_outlook(record, seed, draws)
    stood = found.showing, found.dates, found.traits, yard.numbers
    readings = read_counts(counts, *stood)
    trap = counts[-1].trap if counts else TRAPS[0]
    expected = expected_counts(trap, readings, *stood)
    return YardBeetles(
        record, presence, found, tuple(readings), tuple(counts), (trap, expected), seed
    )


def counts_of(record: Record) -> list[Count]:
    """The lines of beetles.csv before the issue date, each with what work.csv says of its colony."""
    yard = record.yard
    hives = {hive.name: hive for hive in yard.hives}
    known = yard.beetles[yard.beetles["date"] < record.issue_date]
    return [
        Count(**row, kind=hives[row["hive"]].kind, unsettled=_unsettled(record, hives, row))
        for row in known.to_dict("records")
    ]


def _unsettled(record: Record, hives: dict, row: dict) -> str:
    """The last swarm, split or hiving about the count: weeks before it, or since.

    What happened after the count counts too, since bees that are about to swarm are no strong colony
    a week on.
    """
    weeks = pd.Timedelta(days=record.yard.numbers["beetle.unsettled_d"])
    told = _told(record, row["hive"])
    about = (told["day"] >= row["date"] - weeks) & (told["day"] <= row["date"] + weeks)
    lately = told[about & (told["day"] < record.issue_date) & told["what"].isin(list(UNSETTLING))]
    if len(lately):
        return UNSETTLING[lately["what"].iloc[-1]]
    came = hives[row["hive"]].from_
    return "new" if came and row["date"] - weeks <= pd.Timestamp(came) else ""


def _told(record: Record, hive: str) -> pd.DataFrame:
    """What work.csv and the steps found in the log tell of a hive: local day and word, in order."""
    work = record.yard.work_of(hive)[["time", "what"]]
    steps = [log.steps[["time", "cause"]] for log in record.logs if log.hive == hive]
    found = [part.rename(columns={"cause": "what"}) for part in steps if len(part)]
    told = pd.concat([work, *found]) if found else work
    local = told["time"].dt.tz_convert(record.yard.place.timezone).dt.tz_localize(None)
    return told.assign(day=local.dt.normalize()).sort_values("day", kind="stable")


def beetle_outlook(record: Record, seed: int = SEED, draws: int = DRAWS) -> BeetleOutlook:
    """Breeding weather and standing beetles, whatever is known of presence."""
    beetle, numbers = record.yard.settings.beetle, record.yard.numbers
    unknown = (record.issue_date - record.daily.index[-1]).days - 1
    traits = draw_traits(
        numbers,
        np.random.default_rng(seed),
        draws,
        soil=beetle.soil.replace(" ", "_") if beetle.soil else None,
        soil_temp_given=soil_temp_given(record),
    )
    return read_outlook(
        record.daily,
        weather_ahead(record, AHEAD_DAYS + unknown),
        traits,
        record.yard.place,
        numbers,
        irrigated=bool(beetle.irrigated),
        unknown=unknown,
    )


def soil_temp_given(record: Record) -> bool:
    """Whether most of the record's soil temperature comes from a service, not from the air."""
    columns = record.columns
    return "soil_temp_c" in columns.index and columns.loc["soil_temp_c", "given"] > 0.5
