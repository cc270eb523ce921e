"""Several cleaned logs of one yard: the yard's gain, each hive's strength, hives that left."""

import numpy as np
import pandas as pd

from flowcast.messages import Amount, Note
from flowcast.numbers import Numbers
from flowcast.scale_log.log import CleanLog
from flowcast.scale_log.within import within_days
from flowcast.scale_log.words import cause_note


def yard_gains(logs: list[CleanLog], numbers: Numbers) -> pd.DataFrame:
    """Daily net gain of the yard: the median over its hives that had room.

    Parameters
    ----------
    logs : list of CleanLog
        The hives of one yard. Only good spans of one day count.
    numbers : Numbers
        Taken so that all functions of a yard are called alike; a median needs no number.

    Returns
    -------
    DataFrame
        Index: local date. `gain_kg` median over hives; `gain_sd_kg` its standard error, from the
        spread between hives or the error of measurement, whichever is larger; `hives` how many;
        `spread_kg` robust standard deviation between hives, NaN for a single one; `lower_bound`
        whether hives without free comb could have made it more.

    Notes
    -----
    A median of n > 2 values has a variance π/2 times that of their mean. The spread is 1.4826
    times the median absolute deviation; for two hives it is their difference over √2.

    What a full hive gained is less than what it could have: below the median of those with room it
    tells nothing and is left out, above it pulls the median up as far as it is known to. If all are
    full, the yard is taken for full.
    """
    gain, sd = _daily(logs, "gain_kg"), _daily(logs, "gain_sd_kg")
    full = _full(logs, gain)
    kept = ~full | ~gain.lt(gain.mask(full).median(axis=1), axis=0)
    gain, sd = gain.where(kept), sd.where(kept)
    hives = gain.count(axis=1)
    spread = _spread(gain)
    square = np.fmax(spread**2, (sd**2).mean(axis=1))
    wider = np.where(hives > 2, np.pi / 2, 1.0)
    return pd.DataFrame(
        {
            "gain_kg": gain.median(axis=1),
            "gain_sd_kg": np.sqrt(square * wider / hives),
            "hives": hives,
            "spread_kg": spread,
            # A bound, if the median would rise with what the full hives could have gained.
            "lower_bound": gain.mask(full & kept, np.inf).median(axis=1) > gain.median(axis=1),
        }
    )


def hive_strengths(logs: list[CleanLog], numbers: Numbers) -> pd.Series:
    """Each hive's gain relative to the yard's on flow days; 1 where nothing is known.

    The median ratio over days on which the yard gains `flow_day_kg` or more, drawn towards 1 on
    the logarithmic scale as if `strength_days` days of ratio 1 had been seen too. Days on which
    the hive had no free comb say nothing of its strength.
    """
    gain = _daily(logs, "gain_kg")
    gain = gain.mask(_full(logs, gain))
    yard = gain.median(axis=1)
    flow = gain[(yard >= numbers["flow.flow_day_kg"]) & (gain.count(axis=1) > 1)]
    ratio = flow.div(yard.reindex(flow.index), axis=0)
    days = ratio.count()
    typical = ratio.median().fillna(1.0).clip(0.1, 10.0)
    weight = days / (days + numbers["scale_log.strength_days"])
    return np.exp(weight * np.log(typical)).rename("strength").rename_axis("hive")


def apart(logs: list[CleanLog], numbers: Numbers) -> list[Note]:
    """Notes on hives that left the others for `apart_days` or more.

    Each hive's share of the yard is its strength times the median over hives of gain divided by
    strength, which one hive alone cannot move. A hive is apart while the median over
    `apart_days` of gain less share exceeds `apart_kg`, `apart_share` of the usual daily share,
    and three times its own usual departure. A weak hive is not apart for being weak; one that
    changes is. Needs three hives, for of two nobody can say which one left.
    """
    gain = _daily(logs, "gain_kg")
    if gain.shape[1] < 3:
        return []
    strengths = hive_strengths(logs, numbers)
    level = gain.div(strengths).median(axis=1).where(gain.count(axis=1) > 2)
    found = []
    for log in logs:
        share = strengths[log.hive] * level
        away = gain[log.hive] - share
        for start, end in _runs(away, share, numbers):
            found.append((start, log.hive, _sentence(log, away[start:end])))
    return [told for _, _, told in sorted(found, key=lambda one: one[:2])]


def _daily(logs: list[CleanLog], column: str) -> pd.DataFrame:
    """Good single days of all hives: a row a date, a column a hive."""
    columns = {}
    for log in logs:
        gains = log.gains
        single = gains[(gains["days"] == 1) & (gains["quality"] == "good")]
        columns[log.hive] = single[column]
    dates = pd.DatetimeIndex([]) if not columns else None
    return pd.DataFrame(columns, index=dates).sort_index().rename_axis("date")


def _full(logs: list[CleanLog], gain: pd.DataFrame) -> pd.DataFrame:
    """Whether each hive was without free comb on each day of `gain`."""
    return _daily(logs, "lower_bound").reindex(gain.index).eq(True)


def _spread(gain: pd.DataFrame) -> pd.Series:
    middle = gain.median(axis=1)
    off = gain.sub(middle, axis=0).abs()
    spread = 1.4826 * off.median(axis=1)
    two = np.sqrt(2) * off.median(axis=1)  # half the difference, times √2
    hives = gain.count(axis=1)
    return spread.where(hives > 2, two).where(hives > 1)


def _runs(
    away: pd.Series, share: pd.Series, numbers: Numbers
) -> list[tuple[pd.Timestamp, pd.Timestamp]]:
    """First and last date of each stretch in which a hive is apart on one side."""
    window = int(numbers["scale_log.apart_days"])
    known = away.dropna()
    usual = share.reindex(known.index).abs().rolling(window).median()
    middle = known.rolling(window).median()
    common = 3 * 1.4826 * (middle - middle.median()).abs().median()
    limit = np.maximum(numbers["scale_log.apart_kg"], numbers["scale_log.apart_share"] * usual)
    limit = np.maximum(limit, common)
    side = np.sign(middle).where(middle.abs() > limit, 0.0)
    starts = np.flatnonzero((side != 0) & (side != side.shift(1, fill_value=0.0)))
    ends = np.flatnonzero((side != 0) & (side != side.shift(-1, fill_value=0.0)))
    runs = []
    for first, last in zip(starts, ends, strict=True):
        begun = known.iloc[max(first - window + 1, 0) : first + 1] * side.iloc[first]
        begun = begun[begun > limit.iloc[first] / 2]
        same = runs and runs[-1][2] == side.iloc[first] and begun.index[0] <= runs[-1][1]
        start = runs.pop()[0] if same else begun.index[0]
        runs.append((start, known.index[last], side.iloc[first]))
    return [(start, end) for start, end, _ in runs]


def _sentence(log: CleanLog, away: pd.Series) -> Note:
    middle, start, end = away.median(), away.index[0], away.index[-1]
    return Note.of(
        "apart.fell_behind" if middle < 0 else "apart.ran_ahead",
        hive=log.hive,
        first=start,
        last=end,
        kg=Amount(float(abs(middle)), "kg", 1),
        after=_after(log, start),
        reason=_reason(log, away),
    )


def _reason(log: CleanLog, away: pd.Series) -> Note:
    """What a hive that left the others may have met with, as far as its log tells."""
    if away.median() > 0:
        return Note.of("apart.fed")
    days = pd.DatetimeIndex(log.steps["time"].dt.tz_localize(None)).normalize()
    near = (days >= away.index[0] - pd.Timedelta(days=5)) & (days <= away.index[0])
    if log.steps["cause"][near].str.contains("swarm").any():
        return Note.of("apart.swarmed")
    full = log.gains.reindex(away.index).get("lower_bound", pd.Series(dtype=bool))
    if full.eq(True).mean() > 0.5:
        return Note.of("apart.no_comb")
    return Note.of("apart.look")


def robbing(logs: list[CleanLog], timezone: str, numbers: Numbers) -> list[Note]:
    """Notes on hives that lost by day what a neighbour gained.

    A day counts when one hive's weight falls from the end of the night to the evening by
    `robbing_kg` or more below what it did in the week before, another's rises by as much above
    that and by no more than half as much again as was lost, and no other hive gains so much: a flow
    feeds all. Steps are taken out before, so that a swarm is not robbed.
    """
    intake = pd.DataFrame(
        {log.hive: within_days(log, timezone, numbers)["intake_kg"] for log in logs}
    )
    if intake.shape[1] < 2 or not len(intake):
        return []
    least = numbers["scale_log.robbing_kg"]
    usual = intake.rolling(7, min_periods=4).median().shift(1)
    unusual = intake - usual
    found: list[tuple[pd.Timestamp, pd.Timestamp, str, str, float, float]] = []
    for date, row in unusual[unusual.min(axis=1) <= -least].iterrows():
        loser, winner = row.idxmin(), row.idxmax()
        lost, won, rest = -row[loser], row[winner], row.drop([loser, winner])
        falls = intake.at[date, loser] <= -least
        if not falls or won < least or won > 1.5 * lost or (rest >= least).any():
            continue
        last = found[-1] if found else None
        if last and last[2:4] == (loser, winner) and date - last[1] <= pd.Timedelta(days=2):
            found[-1] = (last[0], date, loser, winner, last[4] + lost, last[5] + won)
        else:
            found.append((date, date, loser, winner, lost, won))
    return [_robbed(*one) for one in found]


def _robbed(start, end, loser: str, winner: str, lost: float, won: float) -> Note:
    told = {"loser": loser, "winner": winner}
    told |= {"lost": Amount(float(lost), "kg", 1), "won": Amount(float(won), "kg", 1)}
    if start == end:
        return Note.of("robbed.day", date=start, **told)
    return Note.of("robbed.days", first=start, last=end, **told)


def _after(log: CleanLog, start: pd.Timestamp) -> Note | str:
    """The step that may explain it, when one lies within the five days before."""
    days = pd.DatetimeIndex(log.steps["time"].dt.tz_localize(None)).normalize()
    near = (days >= start - pd.Timedelta(days=5)) & (days <= start + pd.Timedelta(days=1))
    steps = log.steps[near & (log.steps["kg"] != 0).to_numpy()]
    if not len(steps):
        return ""
    step = steps.iloc[-1]
    size = Amount(float(step["kg"]), "kg", 1, "+")
    return Note.of("apart.after", size=size, date=step["time"], cause=cause_note(step["cause"]))
