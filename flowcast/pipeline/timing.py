"""When to super, split, feed, leave and take: dates from the futures of the outlook and longer ones."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from flowcast import weather
from flowcast.advice.after import AfterAdvice, read_after, winter_bees
from flowcast.advice.ahead import HiveAhead, cold_from, hive_ahead
from flowcast.advice.hive import SUPERS, Box, HiveNow, free_of, size_of, stores_of
from flowcast.advice.refractometer import read_water
from flowcast.advice.ripe import (
    RipeAdvice,
    SetsFast,
    nearest_end,
    night_humidity,
    read_ripeness,
    sets_fast,
)
from flowcast.advice.splits import (
    KINDS,
    Air,
    SplitAdvice,
    SwarmWatch,
    after_feed,
    heed_drones,
    not_on_larvae,
    split_advice,
    swarm_watch,
)
from flowcast.advice.start import read_start
from flowcast.advice.stores import StoresAdvice, stores_advice
from flowcast.advice.supers import (
    SuperAdvice,
    against_mites,
    off_for_feed,
    off_larvae,
    super_advice,
    while_fed,
    while_it_flows,
)
from flowcast.advice.visits import CALENDAR_D, Visits, read_visits
from flowcast.advice.when import Advice, When
from flowcast.advice.winter import leave_advice
from flowcast.flow.household import drivers
from flowcast.flow.scenarios import Scenarios, future_of, simulate
from flowcast.numbers import Numbers
from flowcast.pipeline.beetles import beetle_outlook
from flowcast.pipeline.gather import Reach
from flowcast.pipeline.hives import hives_now, new_colonies
from flowcast.pipeline.run import (
    HORIZON_DAYS,
    SCENARIOS,
    SEED,
    from_issue,
    outlook_from,
    record_of,
    weather_ahead,
)
from flowcast.results import HiveTiming, Record, YardOutlook, YardTiming
from flowcast.scale_log import within_days

FAR_DAYS = 270  # from a last flow to the first one after a long winter
FAR_SCENARIOS = 300
BEETLE_DRAWS = 100
NEAR_D = 14  # a day fit to open a hive within two weeks is near
NO_FEED = "fondant"  # laid on without opening the hive, so on any day


class Futures(NamedTuple):
    """The longer futures from the issue date on: gains, and the weather of each of them."""

    scenarios: Scenarios
    ahead: weather.WeatherAhead
    season: np.ndarray  # how far it lets colonies rear brood, 0 to 1, one row a run of weather
    unknown: int

    def column(self, name: str) -> np.ndarray:
        """A column of the weather, one row a scenario."""
        return self.ahead[name][self.scenarios.weather, self.unknown :]

    @property
    def brooding(self) -> np.ndarray:
        """How far the season lets colonies rear brood, one row a scenario."""
        return self.season[self.scenarios.weather, self.unknown :]

    @property
    def air(self) -> Air:
        """What splits and swarms look at."""
        names = ("temp_mean_c", "temp_max_c", "temp_min_c", "foraging_h")
        return Air(*(self.column(name) for name in names))


def timing(
    folder: Path | str | None = None,
    *,
    at: str | None = None,
    as_of: str | pd.Timestamp | None = None,
    seed: int = SEED,
    scenarios: int = SCENARIOS,
    reading: tuple[float, float | None] | None = None,
    reach: Reach | None = None,
) -> YardTiming:
    """Dates for the work at a yard: supers, splits, stores, honey, new colonies, after the flow.

    Parameters are those of `flowcast.outlook`.

    Parameters
    ----------
    as_of : date, optional
        For an outlook of the past, what yard.toml says of boxes, bees and queens counts only where
        `seen` dates it before.
    reading : (reading, temperature), optional
        Of a refractometer: refractive index or per cent of water, and °C or None.

    Raises
    ------
    InputError, SourceUnavailable, NotEnoughDataError
    """
    record = record_of(folder, at, as_of, reach)
    found = outlook_from(record, seed=seed, scenarios=scenarios)
    return timing_from(found, current=as_of is None, reading=reading)


def timing_from(
    found: YardOutlook,
    *,
    current: bool = False,
    reading: tuple[float, float | None] | None = None,
    beetles_high: float | None = None,
) -> YardTiming:
    """The same from an outlook. beetles_high: where it is known already, so as not to reckon it again."""
    record, numbers = found.record, found.record.yard.numbers
    yard = record.yard
    water = read_water(*reading, numbers) if reading else None
    futures = far_futures(found)
    visits = read_visits(
        futures.ahead,
        numbers,
        own_days=tuple(yard.settings.yard.visit_days),
        every_d=yard.settings.yard.visit_every_d,
        unknown=futures.unknown,
    )
    if beetles_high is None:
        beetles_high = _beetles_high(record, found.seed)
    plain = HiveNow("", share=(1.0, 0.0))
    hives = hives_now(record, current=current)
    after = _after(record, futures, visits)
    return YardTiming(
        outlook=found,
        visits=visits,
        until=futures.scenarios.dates[-1],
        hives=_hives(hives, found, futures, visits, beetles_high, after, current=current),
        usual=() if hives else _splits(plain, found, futures, visits, beetles_high),
        after=after,
        sets=_sets(record, visits),
        beetles=beetles_high,
        water=water,
    )


def far_futures(found: YardOutlook) -> Futures:
    """Futures that reach over a winter; no further than the outlook without any past year, whose
    last weeks tell nothing of another time of the year."""
    record, numbers = found.record, found.record.yard.numbers
    unknown = (record.issue_date - record.daily.index[-1]).days - 1
    ahead = weather_ahead(record, FAR_DAYS + unknown)
    if set(ahead.labels) == {weather.LAST_WEEKS}:
        ahead = ahead.first(HORIZON_DAYS + unknown)
    future = future_of(ahead, record.daily, record.normals, record.yard.place, numbers)
    drawn = simulate(
        found.model,
        future,
        numbers,
        np.random.default_rng(found.seed),
        FAR_SCENARIOS,
        widen=record.station.widen if record.station else 1.0,
        daily_d=HORIZON_DAYS + unknown,
        copies=1,
    )
    return Futures(from_issue(drawn, unknown), ahead, drivers(future.days, numbers)[1], unknown)


def _beetles_high(record: Record, seed: int) -> float | None:
    """Chance of high beetle breeding weather, where the keeper says that they live here."""
    if record.yard.settings.beetle.present is not True:
        return None
    return beetle_outlook(record, seed, BEETLE_DRAWS).high_now


def _hives(
    hives: list[HiveNow],
    found: YardOutlook,
    futures: Futures,
    visits: Visits,
    beetles: float | None,
    after: AfterAdvice,
    *,
    current: bool,
) -> tuple[HiveTiming, ...]:
    beginnings = {b.hive: b for b in new_colonies(found.record, current=current)}
    ripe = _ripe(found, hives, visits, beetles)
    return tuple(
        _hive(
            hive,
            beginnings.get(hive.name),
            ripe[hive.name],
            found,
            futures,
            visits,
            beetles,
            after,
        )
        for hive in hives
    )


def _is_mild(temp_c: np.ndarray, numbers: Numbers) -> bool:
    """Whether it does not grow too cold for syrup as far as the futures reach, more likely than not."""
    cold = cold_from(temp_c, numbers["timing.syrup_from_c"])
    return bool(np.median(cold) >= temp_c.shape[1])


def _hive(
    hive: HiveNow, beginning, ripe, found, futures: Futures, visits, beetles, after
) -> HiveTiming:
    numbers, seasons = found.record.yard.numbers, found.model.seasons
    threshold = found.record.yard.flow_day_kg * size_of(hive, numbers)
    rng = np.random.default_rng(found.seed)  # the same draws for every hive, so that they compare
    ahead = hive_ahead(futures.scenarios, hive, futures.brooding, numbers, rng, seasons=seasons)
    stores = stores_of(hive, numbers)
    free = free_of(hive, stores, numbers)
    temp_c, breeding, plan = futures.column("temp_mean_c"), _breeding(beetles), _plan(visits)
    feed = stores_advice(
        hive, ahead, stores, temp_c, plan, threshold, numbers, beetle_season=breeding
    )
    learned, mild = seasons >= 1, _is_mild(temp_c, numbers)
    leave = leave_advice(hive, ahead, stores, threshold, numbers, learned=learned, mild=mild)
    until = swarms_until(found.record)
    room = free.kg if free else None
    watch = swarm_watch(hive, ahead, futures.air, until is not None, room, numbers)
    splits, short = _splits(hive, found, futures, visits, beetles, ahead), feed.short_until(numbers)
    return HiveTiming(
        hive=hive.name,
        supers=_supers(hive, ahead, free, feed, found, visits, threshold, after),
        splits=tuple(
            heed_drones(not_on_larvae(after_feed(split, short), hive.larvae), watch)
            for split in splits
        ),
        swarm=_on_fit_day(_dated(watch, until, visits), visits),
        stores=feed if feed.food == NO_FEED or feed.at_once else _on_fit_day(feed, visits),
        leave=replace(leave, not_before=_not_before(visits)),
        ripe=ripe,
        start=read_start(
            beginning, futures.scenarios.gain_kg, futures.scenarios.dates, visits, numbers, rng
        )
        if beginning
        else None,
    )


def _supers(
    hive: HiveNow,
    ahead: HiveAhead,
    free,
    feed: StoresAdvice,
    found,
    visits,
    threshold_kg: float,
    after: AfterAdvice,
) -> SuperAdvice:
    """Supers on or off within the near weeks, as far as larvae, feeding and the season's end let it."""
    numbers, wet = found.record.yard.numbers, float(np.mean(found.model.stock.wet))
    supers = super_advice(
        hive, ahead, free, _next_super(hive), _plan(visits), threshold_kg, numbers, unripe_kg=wet
    )
    supers = off_larvae(_near(supers, visits), hive.larvae)
    supers = while_fed(supers, _syrup(feed), numbers)
    supers = off_for_feed(supers, feed.verdict == "supers off first")
    return while_it_flows(against_mites(supers, after.latest), _over(after))


def _over(after: AfterAdvice) -> pd.Timestamp | None:
    """When the season's last flow is likely over, where one is still to end."""
    return after.when.date if after.verdict == "ahead" and after.goes_on < 0.5 else None


def _not_before(visits: Visits) -> pd.Timestamp | None:
    """The next day fit to open a hive, where none is near; the last day looked at where none is."""
    today = visits.chance.index[0]
    day = visits.next_fit(today) or visits.chance.index[-1]
    return day if day > today + pd.Timedelta(days=NEAR_D) else None


def _syrup(feed: StoresAdvice) -> When | None:
    """When a hive is to be fed with syrup."""
    return feed.when if feed.when and feed.food != NO_FEED else None


def _splits(
    hive: HiveNow,
    found: YardOutlook,
    futures: Futures,
    visits: Visits,
    beetles: float | None,
    ahead: HiveAhead | None = None,
) -> tuple[SplitAdvice, ...]:
    """Every kind of split of one hive, on days fit for it."""
    yard = found.record.yard
    rng = np.random.default_rng(found.seed)
    ahead = ahead or hive_ahead(futures.scenarios, hive, futures.brooding, yard.numbers, rng)
    return tuple(
        _on_fit_day(
            split_advice(
                hive,
                ahead,
                futures.air,
                kind,
                yard.flow_day_kg,
                yard.numbers,
                rng,
                beetle_season=_breeding(beetles),
            ),
            visits,
        )
        for kind in KINDS
    )


def _near(supers: SuperAdvice, visits: Visits) -> SuperAdvice:
    """A super wanted only in months is none for now, and one that cannot come off soon stays."""
    days = NEAR_D if supers.verdict == "take off" else CALENDAR_D
    last = visits.chance.index[0] + pd.Timedelta(days=days)
    if supers.when is None or supers.when.date is None or supers.when.date <= last:
        return supers
    return replace(
        supers,
        verdict="room enough",
        when=None,
        count=0,
        last_worth=None,
        back_chance=None,
        back_until=None,
        reasons=(),
        changes=("stronger flow",),
    )


def _on_fit_day(advice: Advice, visits: Visits) -> Advice:
    """The advice on the first fit day from its own date on."""
    if advice.when is None or advice.when.date is None:
        return advice
    return replace(advice, when=replace(advice.when, date=visits.next_fit(advice.when.date)))


def _dated(watch: SwarmWatch, until: pd.Timestamp | None, visits: Visits) -> SwarmWatch:
    """In swarm season the next look is the next visit; the season ends with warmth or by the calendar."""
    if watch.verdict != "look":
        return watch
    today, last = visits.chance.index[0], min(watch.season_to, until)
    return replace(watch, season_to=last, when=When(today, today, last, 1.0))


def _plan(visits: Visits) -> pd.DatetimeIndex:
    return pd.DatetimeIndex(visits.plan(visits.chance.index[0]))


def _breeding(beetles: float | None) -> bool:
    return beetles is not None and beetles >= 0.5


def _next_super(hive: HiveNow) -> Box:
    """The box the keeper would add: such as stands on top, with combs as usual there."""
    top = next((box for box in reversed(hive.boxes[1:]) if box.kind in SUPERS), None)
    frames = hive.boxes[0].frames if hive.boxes else 10
    return Box(top.kind, top.frames) if top else Box("medium", frames)


def swarms_until(record: Record) -> pd.Timestamp | None:
    """The last day of the swarm season that is on or ahead: some weeks beyond the longest day; None in
    the half of the year in which days grow shorter."""
    place = record.yard.place
    since = int(weather.season_day([record.issue_date], weather.midwinter(place))[0])
    longest = pd.DatetimeIndex([pd.Timestamp(2024, *weather.midsummer(place))])
    last = int(weather.season_day(longest, weather.midwinter(place))[0])
    last += int(record.yard.numbers["timing.swarm_after_d"])
    return record.issue_date + pd.Timedelta(days=last - since) if since <= last else None


def _ripe(found: YardOutlook, hives, visits: Visits, beetles) -> dict[str, RipeAdvice]:
    """Each hive's honey; hives without a scale have no reading."""
    record, numbers = found.record, found.record.yard.numbers
    zone = record.yard.place.timezone
    days = pd.Timedelta(days=2 * int(numbers["timing.ripe_back_d"]))
    lately = (record.issue_date - days).tz_localize("UTC")
    humidity = night_humidity(record.weather.hourly.loc[lately:], zone)
    ends = found.outlook.window.end if found.outlook.window.open_chance >= 0.5 else None
    ends = ends if ends and None not in ends else None
    logs = {log.hive: replace(log, readings=log.readings.loc[lately:]) for log in record.logs}
    none = pd.DataFrame(columns=["intake_kg", "night_loss_kg"], index=pd.DatetimeIndex([]))
    return {
        hive.name: read_ripeness(
            hive.name,
            within_days(logs[hive.name], zone, numbers) if hive.name in logs else none,
            humidity,
            visits,
            numbers,
            flow_end=ends,
            beetles_high=beetles,
        )
        for hive in hives
    }


def _sets(record: Record, visits: Visits) -> tuple[SetsFast, ...]:
    yard = record.yard
    forage = [(plant.name, nearest_end(plant.to, record.issue_date)) for plant in yard.forage]
    return tuple(sets_fast(forage, yard.bloom, visits, yard.numbers))


def _after(record: Record, futures: Futures, visits: Visits) -> AfterAdvice:
    yard = record.yard
    bees = winter_bees(record.daily["temp_mean_c"], record.issue_date, yard.place, yard.numbers)
    return read_after(
        futures.scenarios.gain_kg,
        futures.ahead,
        visits,
        bees,
        yard.flow_day_kg,
        record.normals.seasons,
        yard.numbers,
    )
