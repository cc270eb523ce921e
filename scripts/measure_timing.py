"""Measure the dated advice on simulated colonies that are kept by it.

    python scripts/measure_timing.py YARD [YARD ...] --keep DIR [--only supers|stores|splits|speed]

Each yard is one of make_trial_yards.py. Outlooks are issued every week of its last year, from the
log before each date and with past years' weather ahead; they are kept in DIR, as they take most of
the time. Then the yard's world is made once more and further hives live through it, with one keeper
who follows the advice of the week and one who knows what is to come (foresight). Neither of these
hives was in the log. All hives are told of their own free comb and stores with an error.

With --boxes the boxes of the log's hives are told as they were seen on the last visit before each outlook, as
the keeper must tell them who asks for supers: days without free comb are then known as such. Without it
a log of hives that stood full teaches too weak a flow.

With --forecast DAYS a point forecast stands before the past years' weather. It comes true, and is left
as soon as such forecasts lose the weather.

Supers: days without empty drawn comb among flow days (of a twin with room without end), what was lost of
the gains of these days, and days that supers stand on the hive up to its last flow day. Two keepers know
what is to come: "foresight" has comb for all nectar that a twin with room would bring in up to the next
visit, as the advice means to; "latest" waits until the hive itself, which slows down as comb gets short,
would have none left. Either takes off what is empty as soon as that holds without it. Chances of running
out of comb are those of the twin with room, beside them those of the hive itself. Stores: days below the floor, starved days, feed, against foresight;
honey is taken down to little more than the floor, so that feeding matters. Chances: what was said
of running out of comb within the week and the month, and of falling to the floor within 30, 60 and
120 days, against twins that are left alone. Splits: the crop of both halves when split in the week
advised, against the best week known afterwards.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from make_trial_yards import LAST_YEAR, trial_world
from measure_outlook import with_looks
from simulator import keeper
from simulator.colony import day_airs
from simulator.keeper import SUPER_HOLDS_KG
from simulator.managed import ManagedHive, Orders, Setting, managed_hive, split_off
from simulator.yards import World, looks_table

from flowcast import pipeline
from flowcast.advice.ahead import HiveAhead, hive_ahead
from flowcast.advice.hive import Box, Estimate, HiveNow, share_of
from flowcast.advice.splits import Air, split_advice
from flowcast.advice.stores import stores_advice
from flowcast.advice.supers import SuperAdvice, comb_taken, super_advice
from flowcast.advice.winter import leave_advice
from flowcast.flow.days import month_mean
from flowcast.flow.scenarios import Scenarios, future_of, simulate
from flowcast.pipeline.run import fit_record, weather_ahead
from flowcast.weather import WeatherAhead, forecast_ahead, past_years_ahead

HORIZON_D, DAILY_D, FUTURES, EVERY_D = 280, 45, 250, 7
VISIT_D = 7
FREE_SD_KG, STORES_SD_KG = 1.5, 1.2  # of what the keeper sees of comb, and of a weighing
HIVES = 6
FIRST = pd.Timestamp(LAST_YEAR, 1, 2)
SUPER = Box("medium", 10, 10, 0.0)
FULL_KG = 1.0  # less free comb is none


@dataclass(frozen=True)
class Issued:
    """One outlook: its futures, the weather in them, and the colony's unripe nectar."""

    scenarios: Scenarios
    weather: WeatherAhead
    unripe_kg: float
    seasons: float

    def since(self, days: int) -> Scenarios:
        """The futures from so many days after the issue date on."""
        cut = ("dates", "gain_kg", "intake_kg", "foraging_h", "soil_frac", "more_use_kg")
        later = {name: getattr(self.scenarios, name)[..., days:] for name in cut}
        return replace(self.scenarios, **later)

    def column(self, name: str, days: int) -> np.ndarray:
        """A column of the weather in every future, from so many days after the issue date on."""
        return self.weather[name][self.scenarios.weather][:, days:]

    def hive(self, now: HiveNow, days: int, numbers, before_c: np.ndarray) -> HiveAhead:
        """The futures of a hive from so many days after the issue date on."""
        temp = self.weather["temp_mean_c"]
        month = month_mean(np.hstack([np.tile(before_c, (len(temp), 1)), temp]))
        low, high = numbers["flow.brood_from_c"], numbers["flow.brood_full_c"]
        brooding = np.clip((month[:, len(before_c) :] - low) / (high - low), 0, 1)
        brooding = brooding[self.scenarios.weather][:, days:]
        rng = np.random.default_rng(3)
        since = self.since(days)
        return hive_ahead(since, now, brooding, numbers, rng, seasons=self.seasons)


class Yard:
    """A trial yard: its outlooks, and its world made once more."""

    def __init__(self, folder: Path, keep: Path, forecast_d: int = 0, *, boxes: bool = False):
        kind = (f"forecast-{forecast_d}" if forecast_d else "") + ("boxes" if boxes else "")
        self.folder, self.keep = folder, keep / kind / folder.parent.name / folder.name
        self.forecast_d, self.boxes = forecast_d, boxes
        sources = pipeline.read_sources(folder)
        self.sources, self.numbers = sources, sources.yard.numbers
        self.threshold = sources.yard.flow_day_kg
        self.whole = pipeline.known_before(sources, pipeline.default_issue_date(sources))
        self.world, self.seed, self.number = _world(folder)
        self.seasons = len(self.whole.spans) / 365.25 - 1  # before the year of the outlooks
        self.issued: dict[pd.Timestamp, Issued] = {}

    def outlook(self, day: pd.Timestamp) -> tuple[Issued, int]:
        """The last outlook issued by this day, and how many days ago."""
        ago = (day - FIRST).days % EVERY_D
        issue = day - pd.Timedelta(days=ago)
        if issue not in self.issued:
            self.issued[issue] = self._issue(issue)
        return self.issued[issue], ago

    def _issue(self, issue: pd.Timestamp) -> Issued:
        file = self.keep / f"{issue:%Y-%m-%d}.npz"
        if not file.exists():
            self._draw(issue, file)
        kept = np.load(file)
        daily = self.whole.daily[self.whole.daily.index < issue]
        weather = self._weather(daily)
        like = np.zeros(kept["gain"].shape, np.float32)
        scenarios = Scenarios(
            weather.dates, kept["gain"].astype(float), kept["intake"].astype(float), like, like,
            kept["weather"], weather.labels, np.zeros(len(like), int),
            more_use_kg=kept["more"].astype(float),
        )  # fmt: skip
        return Issued(scenarios, weather, float(kept["wet"]), self.seasons)

    def _weather(self, daily: pd.DataFrame) -> WeatherAhead:
        """Past years' weather, after the days that a forecast tells as they came, if there is one."""
        if not self.forecast_d:
            return past_years_ahead(daily, HORIZON_D, self.numbers)
        came = self.whole.daily[self.whole.daily.index > daily.index[-1]]
        member = came.iloc[: self.forecast_d]
        return forecast_ahead(daily, [member], True, HORIZON_D, self.numbers)

    def _draw(self, issue: pd.Timestamp, file: Path) -> None:
        sources = self.sources
        if self.boxes:
            looks = pd.concat(
                [looks_table(self.world, run) for run in self.world.runs]
            ).sort_index()
            sources = with_looks(sources, looks[looks.index < issue])
        record = pipeline.known_before(sources, issue)
        model, numbers = fit_record(record), self.numbers
        runs = self._weather(record.daily)
        future = future_of(runs, record.daily, record.normals, record.yard.place, numbers)
        drawn = simulate(
            model, future, numbers, np.random.default_rng(1), FUTURES, daily_d=DAILY_D, copies=1
        )
        file.parent.mkdir(parents=True, exist_ok=True)
        np.savez_compressed(
            file,
            gain=drawn.gain_kg.astype(np.float32),
            intake=drawn.intake_kg.astype(np.float32),
            more=drawn.more_use_kg.astype(np.float32),
            weather=drawn.weather,
            wet=model.stock.wet,
        )

    def hives(self, **changed) -> list[ManagedHive]:
        """Further hives of this yard, on the first day of its last year, without supers."""
        days = self.world.days
        rng = np.random.default_rng([self.seed, self.number, 5])
        habits = keeper.habits_for(self.world.climate, rng)
        habits = replace(habits, visit_every_d=(VISIT_D, VISIT_D), **changed)
        visits = keeper.visit_days(days, habits, rng)
        late = (days["season_day"] > 215).to_numpy()
        setting = Setting(days, day_airs(days, self.world.flora.nectar_kg), visits, late)
        first = days.index.get_loc(FIRST)
        hives = []
        for _ in range(HIVES):
            hive = managed_hive(setting, habits, rng.spawn(1)[0])
            hive.live_until(first, _ordinary)
            hive.care.supers, colony = 0, hive.colony  # so that all super-days are the orders'
            colony.room_kg = max(keeper.BROOD_BOXES_HOLD_KG, colony.stores_kg + 4)
            hives.append(hive)
        return hives

    def ahead(self, hive: HiveNow, today: pd.Timestamp) -> tuple[HiveAhead, Issued, int]:
        """A hive's futures by the last outlook, that outlook, and how many days ago it was issued."""
        issued, ago = self.outlook(today)
        temp = self.whole.daily["temp_mean_c"]
        before = temp[temp.index < today - pd.Timedelta(days=ago)].to_numpy()[-30:]
        return issued.hive(hive, ago, self.numbers, before), issued, ago

    def share(self, hive: ManagedHive) -> tuple[float, float] | None:
        """What is known of the hive's share from its gains and those of the hives in the log, on days
        on which it had room, and these too where their boxes are told."""
        lived, least = hive.table().iloc[-300:], self.numbers["scale_log.limited_kg"]
        had_room = lived["free_kg"].shift(1) >= least
        if self.boxes:
            free = pd.DataFrame({run.name: run.free_kg for run in self.world.runs})
            others = (free.set_axis(self.world.days.index) >= least).all(axis=1)
            had_room &= others.reindex(lived.index)
        own = lived["gain_kg"][had_room]
        spans = self.whole.spans[self.whole.spans["days"] == 1]["gain_kg"]
        return share_of(own, spans.reindex(own.index), self.numbers)

    def planned(self, hive: ManagedHive, visit: bool) -> pd.DatetimeIndex:
        """Visits as they are foreseen: today's, then one a week, and a day or two of bad weather."""
        today = hive.setting.days.index[hive.day]
        return pd.date_range(
            today if visit else today + pd.Timedelta(days=3), periods=36, freq="8D"
        )


def _world(folder: Path) -> tuple[World, int, int]:
    about = dict(
        line.split(": ", 1) for line in (folder / "truth" / "about.txt").read_text().splitlines()
    )
    seed, number = (int(part.split(":")[-1].split()[-1]) for part in about["seed"].split(",")[:2])
    return trial_world(number, about["climate"], about["mechanism"], seed)[0], seed, number


def _ordinary(hive: ManagedHive, visit: bool) -> Orders:
    """A keeper with room and feed enough: what the colony was before anybody is judged."""
    short = max(hive.care.habits.reserve_kg * 0.6 - hive.colony.stores_kg, 0.0)
    return Orders(
        supers=1 if visit and hive.colony.free_kg < 11 and hive.care.supers < 5 else 0,
        feed_kg=short if short > 1 else 0.0,
    )


# ---- supers ----------------------------------------------------------------------------------


def supers(yard: Yard) -> tuple[list[dict], list[dict]]:
    """Rows of hives under each keeper, and of chances said and come."""
    rows, chances = [], []
    for k, hive in enumerate(yard.hives()):
        rng = np.random.default_rng([yard.seed, k])
        free = _free_twin(hive)
        flow = free["gain_kg"] >= yard.threshold
        keepers = {
            "advice": _by_advice(yard, rng, chances),
            "foresight": _foreseen_supers(_for_all_nectar),
            "latest": _foreseen_supers(_for_slowed_hive),
        }
        for name, orders in keepers.items():
            lived = hive.twin().live_until(hive.day + 364, orders)
            stand = lived["supers"][: _last_day(flow)]
            rows.append(
                {
                    "yard": f"{yard.folder.parent.name}/{yard.folder.name[:8]}", "keeper": name,
                    "flow_days": int(flow.sum()),
                    "full_days": int((flow & (lived["free_kg"] < FULL_KG)).sum()),
                    "super_days": int(stand.sum()),
                    "gain_kg": free["gain_kg"][flow].sum(),
                    "lost_kg": (free["gain_kg"] - lived["gain_kg"])[flow].sum(),
                }
            )  # fmt: skip
    return rows, chances


def _last_day(flow: pd.Series) -> pd.Timestamp | None:
    """The last flow day: how long supers stand after it is not the business of adding them."""
    return flow.index[flow][-1] if flow.any() else flow.index[0]


def _fed_if_hungry(hive: ManagedHive) -> float:
    """In the measure of supers no hive starves."""
    return 5.0 if hive.colony.stores_kg < 4 else 0.0


def _only_fed(hive: ManagedHive, _: bool) -> Orders:
    return Orders(feed_kg=_fed_if_hungry(hive))


def _nothing(hive: ManagedHive, _: bool) -> Orders:
    return Orders()


def _free_twin(hive: ManagedHive) -> pd.DataFrame:
    twin = hive.twin()
    twin.colony.room_kg += 1000
    return twin.live_until(hive.day + 364, _only_fed, takes=False)


def _by_advice(yard: Yard, rng, chances: list[dict]) -> Callable:
    def orders(hive: ManagedHive, visit: bool) -> Orders:
        count = 0
        if visit:
            count, said = _asked(yard, hive, rng)
            chances.extend(said)
        return Orders(supers=count, feed_kg=_fed_if_hungry(hive))

    return orders


def _asked(yard: Yard, hive: ManagedHive, rng) -> tuple[int, list[dict]]:
    today = hive.setting.days.index[hive.day]
    now = HiveNow("hive", boxes=_boxes(hive), share=yard.share(hive))
    ahead, issued, _ = yard.ahead(now, today)
    free = Estimate(hive.colony.free_kg + FREE_SD_KG * rng.normal(), FREE_SD_KG, "boxes")
    said = super_advice(
        now, ahead, free, SUPER, yard.planned(hive, True), yard.threshold, yard.numbers,
        unripe_kg=issued.unripe_kg,
    )  # fmt: skip
    sign = {"add": 1, "take off": -1}.get(said.verdict, 0)
    count = sign * said.count if sign and said.when.date == today else 0
    chances = _super_chances(yard, hive, ahead, free, issued.unripe_kg)
    return count, chances + ([_wanted_again(hive, said, -count)] if count < 0 else [])


def _wanted_again(hive: ManagedHive, said: SuperAdvice, count: int) -> dict:
    """What is said of empty supers being wanted again that are taken off, and whether they are."""
    until = hive.day + (said.back_until - said.when.date).days
    left = _left_for_all(hive, until, -count)
    what = "an empty super that came off is wanted again"
    return {"what": what, "said": said.back_chance, "came": float((left < FULL_KG).any())}


def _boxes(hive: ManagedHive) -> tuple[Box, ...]:
    """The boxes as the keeper sees them: which supers are empty; how full the others are is told beside."""
    supers = hive.care.supers
    full = [1.0] * (supers - hive.empty_supers) + [0.0] * hive.empty_supers
    return (Box("deep"), *(replace(SUPER, full=frames) for frames in full))


def _super_chances(yard, hive, ahead, free, unripe_kg) -> list[dict]:
    """What is said of running out of comb within 7 and 30 days, and whether twins do."""
    left = ahead.drawn(free)[:, None] - comb_taken(ahead, unripe_kg, yard.numbers)
    until = hive.day + 30
    came = {
        "comb runs out": _left_for_all(hive, until, 0),
        "the hive itself has none": hive.twin().live_until(until, _only_fed, takes=False)[
            "free_kg"
        ],
    }
    return [
        {
            "what": f"{what} within {days} d",
            "said": float((left[:, :days] < FULL_KG).any(axis=1).mean()),
            "came": float((free_kg.iloc[:days] < FULL_KG).any()),
        }
        for what, free_kg in came.items()
        for days in (7, 30)
    ]


def _left_for_all(hive: ManagedHive, until: int, supers: int) -> pd.Series:
    """Comb left with so many more supers, had it to take all that a twin with room brings in. [kg]"""
    twin = hive.twin()
    twin.colony.room_kg += 1000
    lived = twin.live_until(until, _only_fed, takes=False)
    return lived["free_kg"] - 1000 + SUPER_HOLDS_KG * supers


def _for_all_nectar(hive: ManagedHive, until: int, supers: int) -> bool:
    """Whether there is comb for all nectar that a twin with room brings in."""
    return bool((_left_for_all(hive, until, supers) >= FULL_KG).all())


def _for_slowed_hive(hive: ManagedHive, until: int, supers: int) -> bool:
    """Whether the hive itself, which slows down as comb gets short, has some left."""
    trial, first = hive.twin(), _first_only(Orders(supers=supers, feed_kg=_fed_if_hungry(hive)))
    return bool((trial.live_until(until, first, takes=False)["free_kg"] >= FULL_KG).all())


def _foreseen_supers(enough: Callable[[ManagedHive, int, int], bool]) -> Callable:
    """As few supers as are enough up to the next visit, empty ones off."""

    def orders(hive: ManagedHive, visit: bool) -> Orders:
        feed = _fed_if_hungry(hive)
        if not visit:
            return Orders(feed_kg=feed)
        later = np.flatnonzero(hive.setting.visits[hive.day + 1 : hive.day + 60])
        until = hive.day + 1 + (int(later[0]) if len(later) else 30)
        until = min(until, len(hive.setting.airs) - 1)
        counts = range(-hive.empty_supers, 4)
        count = next((n for n in counts if enough(hive, until, n)), counts[-1])
        return Orders(supers=count, feed_kg=feed)

    return orders


def _first_only(first: Orders) -> Callable:
    """These orders on the first day, none later."""
    given = iter([first])
    return lambda hive, _: next(given, Orders(feed_kg=_fed_if_hungry(hive)))


# ---- stores ----------------------------------------------------------------------------------


def stores(yard: Yard) -> tuple[list[dict], list[dict]]:
    """Rows of hives under each keeper, and of chances said and come."""
    rows, chances = [], []
    floor = yard.numbers["timing.floor_kg"]
    for k, hive in enumerate(yard.hives(reserve_kg=floor + 4)):
        rng = np.random.default_rng([yard.seed, k, 1])
        bias = STORES_SD_KG * rng.normal()
        hive.colony.stores_kg = max(hive.colony.stores_kg, floor + 3)
        keepers = {
            "advice": _fed_by_advice(yard, bias, chances),
            "foresight": _foreseen_feed(yard, floor),
        }
        for name, orders in keepers.items():
            twin = hive.twin()
            lived = twin.live_until(hive.day + 364, orders)
            rows.append(
                {
                    "yard": yard.folder.name, "keeper": name, "days": len(lived),
                    "taken_kg": _taken_since(hive.day, twin),
                    "low_days": int((lived["stores_kg"] < floor).sum()),
                    "starved": int((lived["stores_kg"] < 0.5).sum()),
                    "fed_kg": lived["fed_kg"].sum(), "end_kg": lived["stores_kg"].iloc[-1],
                    "least_kg": lived["stores_kg"].min(),
                }
            )  # fmt: skip
    return rows, chances


def _taken_since(day: int, hive: ManagedHive) -> float:
    """Honey taken off since that day. [kg]"""
    return -sum(e.kg for e in hive.care.events if e.day >= day and e.kind == "harvest")


def _room_enough(hive: ManagedHive, visit: bool) -> int:
    return 1 if visit and hive.colony.free_kg < 11 and hive.care.supers < 5 else 0


def _fed_by_advice(yard: Yard, bias: float, chances: list[dict]) -> Callable:
    def orders(hive: ManagedHive, visit: bool) -> Orders:
        supers_on = _room_enough(hive, visit)
        weekly = hive.day % EVERY_D == 0
        if not (visit or weekly):
            return Orders(supers=supers_on)
        said = _stores_asked(yard, hive, bias, visit)
        if weekly and hive.day % (4 * EVERY_D) == 0:
            chances.extend(_low_chances(yard, hive, said))
        today = hive.setting.days.index[hive.day]
        due = said.when is not None and said.when.date <= today
        reachable = visit or said.food == "fondant"
        feed = said.portion_kg if due and reachable else 0.0
        return Orders(supers=supers_on, feed_kg=feed)

    return orders


def _stores_asked(yard: Yard, hive: ManagedHive, bias: float, visit: bool):
    today = hive.setting.days.index[hive.day]
    now = HiveNow("hive", share=yard.share(hive), supers_on=False)
    ahead, issued, ago = yard.ahead(now, today)
    seen = Estimate(hive.colony.stores_kg + bias, STORES_SD_KG, "weight")
    temp = issued.column("temp_mean_c", ago)
    visits = yard.planned(hive, visit)
    return stores_advice(now, ahead, seen, temp, visits, yard.threshold, yard.numbers)


def _low_chances(yard: Yard, hive: ManagedHive, said) -> list[dict]:
    """What is said of falling to the floor within 30, 60, 120 days, and whether a twin does."""
    floor = yard.numbers["timing.floor_kg"]
    until = min(hive.day + 120, len(hive.setting.airs) - 1)
    twin = hive.twin()
    twin.colony.room_kg += 1000
    lived = twin.live_until(until, _nothing, takes=False)
    flow = _true_next_flow(yard, lived)
    rows = []
    for days in (30, 60, 120):
        if days <= len(lived):
            low = bool((lived["stores_kg"].iloc[: min(days, flow)] < floor).any())
            said_now = float(said.low.iloc[days - 1])
            rows.append({"what": f"floor within {days} d", "said": said_now, "came": float(low)})
    return rows


def _true_next_flow(yard: Yard, lived: pd.DataFrame) -> int:
    from flowcast.flow.outlook import flow_windows

    found = flow_windows(lived["gain_kg"].to_numpy(), yard.threshold, yard.numbers)
    return next((a for a, _ in found if a > 0), len(lived))


def _foreseen_feed(yard: Yard, floor: float) -> Callable:
    """Just what keeps the hive above the floor until it can be fed again, by trying it out."""

    def orders(hive: ManagedHive, visit: bool) -> Orders:
        supers_on = _room_enough(hive, visit)
        until = min(hive.day + EVERY_D, len(hive.setting.airs) - 1)
        if hive.day % EVERY_D or until <= hive.day:
            return Orders(supers=supers_on)
        trial = hive.twin().live_until(until, _nothing, takes=False)
        short = max(floor - trial["stores_kg"].min(), 0.0)
        # Syrup loses its water, and what is eaten of the feed is eaten: a little more is wanted.
        return Orders(supers=supers_on, feed_kg=1.3 * short)

    return orders


# ---- what to leave ---------------------------------------------------------------------------


def leaving(yard: Yard) -> list[dict]:
    """What is said to be needed by the flow that can be relied on, on dates four weeks apart, and what was."""
    rows = []
    floor = yard.numbers["timing.floor_kg"]
    for hive in yard.hives():
        twin = hive.twin()
        twin.colony.room_kg += 1000
        twin.colony.stores_kg += 60  # so that it lives as it would with enough
        lived = twin.live_until(hive.day + 364, _nothing, takes=False)
        course = lived["stores_kg"]
        for day in range(84, 364 - 120, 28):
            now = HiveNow("hive", share=yard.share(hive))
            ahead = yard.ahead(now, lived.index[day])[0].first(364 - day)
            seen = Estimate(float(course.iloc[day]), 0.0, "weight")
            said = leave_advice(now, ahead, seen, yard.threshold, yard.numbers)
            until = min(day + (said.to - lived.index[day]).days, len(course) - 1)
            after = course.iloc[day : until + 1].to_numpy()
            fall = floor + float((np.maximum.accumulate(after) - after).max())
            rows.append(
                {
                    "yard": yard.folder.name, "date": lived.index[day], "needed": fall,
                    **{f"said_{q}": v for q, v in zip((50, 80, 90), said.leave_kg, strict=True)},
                }
            )  # fmt: skip
    return rows


# ---- splits ----------------------------------------------------------------------------------

QUEENLESS_D = {"laying queen": (0, 0), "ripe cell": (0, 12), "walk-away": (0, 24)}


def splits(yard: Yard) -> list[dict]:
    """The crop of both halves when split in the week advised and in every other week."""
    rows = []
    for hive in yard.hives()[:2]:
        weeks = range(28, 28 + 7 * 26, 7)
        flow = _free_twin(hive)["gain_kg"] >= yard.threshold
        unsplit = _crop_of_split(hive, None, "", flow)
        for kind in QUEENLESS_D:
            crops = {
                week: _crop_of_split(hive, week, kind, flow)
                for week in weeks
                if _could_mate(hive, week, kind)
            }
            chosen = _advised_week(yard, hive, kind, weeks)
            followed = unsplit if chosen is None else _crop_of_split(hive, chosen, kind, flow)
            rows.append(
                {
                    "yard": yard.folder.name, "kind": kind, "advised": chosen,
                    "best": max(crops, key=crops.get, default=None),
                    "crop_best": max([*crops.values(), unsplit]), "crop_unsplit": unsplit,
                    "crop_advised": followed,
                }
            )  # fmt: skip
    return rows


def _keep_alive(hive: ManagedHive, _: bool) -> Orders:
    return Orders(feed_kg=2.0 if hive.colony.stores_kg < 4 else 0.0)


def _crop_of_split(hive: ManagedHive, week: int | None, kind: str, flow: pd.Series) -> float:
    """What one hive or both halves gained on the days that were flow days of a whole one. [kg]"""
    whole = hive.twin()
    whole.colony.room_kg += 1000
    last = hive.day + 364
    if week is not None:
        whole.live_until(hive.day + week, _keep_alive, takes=False)
        young = split_off(whole, *QUEENLESS_D[kind])
        gain = whole.live_until(last, _keep_alive, takes=False)["gain_kg"].add(
            young.live_until(last, _keep_alive, takes=False)["gain_kg"], fill_value=0.0
        )
    else:
        gain = whole.live_until(last, _keep_alive, takes=False)["gain_kg"]
    return float(gain[flow].sum())


def _could_mate(hive: ManagedHive, week: int, kind: str) -> bool:
    """Whether the yard was visited that week, and three days fit for mating came in time."""
    day = hive.day + week
    if not hive.setting.visits[day : day + 7].any():
        return False
    after = {"laying queen": None, "ripe cell": 6, "walk-away": 18}[kind]
    if after is None:
        return True
    days = hive.setting.days.iloc[day + after : day + after + 14]
    return bool(((days["temp_max_c"] >= 20) & (days["flight_h"] >= 2)).sum() >= 3)


def _advised_week(yard: Yard, hive: ManagedHive, kind: str, weeks) -> int | None:
    """The first week in which the advice of that week says split."""
    now = HiveNow("hive", frames_of_bees=10.0, share=yard.share(hive))
    for week in weeks:
        today = hive.setting.days.index[hive.day + week]
        ahead, issued, ago = yard.ahead(now, today)
        air = Air(
            *(
                issued.column(c, ago)
                for c in ("temp_mean_c", "temp_max_c", "temp_min_c", "foraging_h")
            )
        )
        said = split_advice(
            now, ahead, air, kind, yard.threshold, yard.numbers, np.random.default_rng(4)
        )
        if said.verdict == "split":
            return week
    return None


# ---- what comes out --------------------------------------------------------------------------


def report_supers(rows: list[dict], chances: list[dict]) -> None:
    """Full days, crop lost and super-days, by yard and in all; then the chances."""
    table = pd.DataFrame(rows)
    by_yard = table.groupby(["yard", "keeper"]).sum(numeric_only=True)
    print(by_yard.round(0).astype(int).unstack().to_string())
    total = table.groupby("keeper").sum(numeric_only=True)
    full = total["full_days"] / total["flow_days"]
    lost = total["lost_kg"] / total["gain_kg"]
    stand = total["super_days"]
    for name in ("foresight", "latest"):
        print(
            f"supers: without empty comb {full['advice']:.3f} of flow days (aim 0.03), {name} "
            f"{full[name]:.3f}; super-days {stand['advice'] / stand[name] - 1:+.2f} of {name}'s (aim "
            f"0.20); of flow days' gain lost {lost['advice']:.3f}, {name} {lost[name]:.3f}"
        )
    report_chances(chances)


def report_stores(rows: list[dict], chances: list[dict]) -> None:
    """Days below the floor and feed, by yard and in all; then the chances."""
    table = pd.DataFrame(rows)
    print(table.groupby(["yard", "keeper"]).agg(
        {"low_days": "sum", "starved": "sum", "fed_kg": "sum", "taken_kg": "sum", "end_kg": "mean",
         "least_kg": "min"}
    ).round(1).unstack().to_string())  # fmt: skip
    total = table.groupby("keeper").sum(numeric_only=True)
    low = total["low_days"] / total["days"]
    fed, kept = total["fed_kg"], total["end_kg"] + total["taken_kg"]
    net = fed - kept + kept["foresight"]
    print(
        f"stores: below the floor {low['advice']:.3f} of days (aim 0.02), foresight "
        f"{low['foresight']:.3f}; starved {total.loc['advice', 'starved']} (aim 0); feed "
        f"{fed['advice'] / fed['foresight'] - 1:+.2f} of foresight's (aim 0.30), "
        f"{net['advice'] / fed['foresight'] - 1:+.2f} less what is left at the year's end or was "
        "taken off as honey"
    )
    report_chances(chances)


def report_chances(chances: list[dict]) -> None:
    """Means of what was said and what came, by what was said."""
    table = pd.DataFrame(chances)
    for what, part in table.groupby("what"):
        print(
            f"{what}: said {part['said'].mean():.3f}, came {part['came'].mean():.3f}, {len(part)} cases"
        )
        part = part.assign(band=pd.cut(part["said"], [-0.01, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0]))
        for _, band in part.groupby("band", observed=True):
            print(
                f"   said {band['said'].mean():.2f}, came {band['came'].mean():.2f} ({len(band)})"
            )


def report_leaving(rows: list[dict]) -> None:
    """How often what was said to be enough was."""
    table = pd.DataFrame(rows)
    for q in (50, 80, 90):
        enough = (table["needed"] <= table[f"said_{q}"]).mean()
        over = (table[f"said_{q}"] - table["needed"]).mean()
        print(
            f"leave for {q} %: enough in {enough:.2f} of {len(table)}, {over:+.1f} kg in the mean"
        )
    print(table.groupby("yard")[["needed", "said_50", "said_90"]].mean().round(1).to_string())


def report_splits(rows: list[dict]) -> None:
    """Crop lost against the best week known afterwards."""
    table = pd.DataFrame(rows)
    print(table.round(1).to_string())
    for kind, part in table.groupby("kind"):
        lost = 1 - part["crop_advised"].sum() / part["crop_best"].sum()
        print(f"{kind}: crop lost {lost:+.2f} of the best week's (aim 0.10), {len(part)} hives")


def speed(yard: Yard) -> None:
    """Seconds of the futures of nine months and of all rooms for four hives."""
    record = pipeline.known_before(yard.sources, FIRST + pd.Timedelta(days=120))
    model = fit_record(record)
    before = time.perf_counter()
    runs = weather_ahead(record, HORIZON_D)
    future = future_of(runs, record.daily, record.normals, record.yard.place, yard.numbers)
    drawn = simulate(
        model, future, yard.numbers, np.random.default_rng(1), FUTURES, daily_d=DAILY_D, copies=1
    )
    simulated = time.perf_counter()
    temp = {
        c: runs[c][drawn.weather] for c in ("temp_mean_c", "temp_max_c", "temp_min_c", "foraging_h")
    }
    visits = pd.date_range(drawn.dates[0], periods=36, freq="7D")
    for k in range(4):
        now = HiveNow(f"H{k}", frames_of_bees=10.0)
        rng = np.random.default_rng(k)
        ahead = hive_ahead(drawn, now, np.ones(drawn.gain_kg.shape), yard.numbers, rng)
        held = Estimate(15.0, 1.5, "weight")
        super_advice(now, ahead, held, SUPER, visits, yard.threshold, yard.numbers)
        stores_advice(now, ahead, held, temp["temp_mean_c"], visits, yard.threshold, yard.numbers)
        leave_advice(now, ahead, held, yard.threshold, yard.numbers)
        for kind in QUEENLESS_D:
            split_advice(now, ahead, Air(*temp.values()), kind, yard.threshold, yard.numbers, rng)
    done = time.perf_counter()
    print(
        f"futures {simulated - before:.2f} s, rooms of four hives {done - simulated:.2f} s (aim 2 in all)"
    )


def main() -> None:
    """Print what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("yards", nargs="+", type=Path)
    parser.add_argument("--keep", type=Path, required=True, help="folder for issued outlooks")
    parser.add_argument("--only", choices=["supers", "stores", "leave", "splits", "speed"])
    parser.add_argument(
        "--forecast", type=int, default=0, help="days of a point forecast that comes true (none)"
    )
    parser.add_argument(
        "--boxes", action="store_true", help="the log's hives have their boxes told"
    )
    asked = parser.parse_args()
    yards = [Yard(f, asked.keep, asked.forecast, boxes=asked.boxes) for f in asked.yards]
    for name, measure, report in (
        ("supers", supers, report_supers),
        ("stores", stores, report_stores),
    ):
        if asked.only in (None, name):
            found = [measure(yard) for yard in yards]
            report([r for rows, _ in found for r in rows], [c for _, said in found for c in said])
    for name, measure, report in (
        ("leave", leaving, report_leaving),
        ("splits", splits, report_splits),
    ):
        if asked.only in (None, name):
            report([row for yard in yards for row in measure(yard)])
    if asked.only in (None, "speed"):
        speed(yards[0])


if __name__ == "__main__":
    main()
