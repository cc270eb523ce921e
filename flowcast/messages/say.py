"""How a yard is spoken to: its language, its form of dates and its units, handed down as one thing."""

from __future__ import annotations

from dataclasses import dataclass, field
from numbers import Integral

import pandas as pd

from flowcast.messages.note import Amount, Note
from flowcast.messages.units import shown_in
from flowcast.messages.words import Words, english

# As yard.toml shows them by example, and the group of the words file that spells each out.
DATE_FORMS = {
    "9 November 2026": "day_first",
    "November 9, 2026": "month_first",
    "2026-11-09": "iso",
}
ISOLATED = "\u2066{}\u2069"  # run from left to right by itself: LRI and PDI of UAX #9
MONTHS = (
    "january", "february", "march", "april", "may", "june",
    "july", "august", "september", "october", "november", "december",
)  # fmt: skip
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


@dataclass(frozen=True)
class Say:
    """`say("outlook.none", chance=...)` is a text in the yard's language, its fields filled in.

    dates: one of `DATE_FORMS`. units: "kg" for metric ones, "lb" for customary ones; everything is
    reckoned in metric units and converted here, from the number.
    """

    words: Words = field(default_factory=english)
    dates: str = "9 November 2026"
    units: str = "kg"

    def __call__(self, key: str, /, **fields) -> str:
        """The text of a key; `n` picks the form of what is counted.

        Fields are texts, or what a `Note` may hold: whole numbers, dates, amounts, notes, tuples.
        """
        shown = {name: self._shown(value) for name, value in fields.items()}
        return self.words.form(key, fields.get("n")).format(**shown)

    def note(self, note: Note | str) -> str:
        """What a part had to tell; what is a finished sentence already stays as it is."""
        return note if isinstance(note, str) else self(note.key, **dict(note.fields))

    def _shown(self, value) -> str:
        if isinstance(value, Note):
            return self.note(value)
        if isinstance(value, Amount):
            return self.amount(value)
        if isinstance(value, pd.Timestamp):
            return self.full_day(value)
        if isinstance(value, tuple):
            return self.listed(map(self._shown, value))
        return self.count(value) if isinstance(value, Integral) else value

    @property
    def language(self) -> str:
        """The language's code."""
        return self.words.language

    @property
    def direction(self) -> str:
        """Which way its letters run: "ltr" or "rtl"."""
        return self.words.direction

    # ---- numbers ----------------------------------------------------------------------------

    def number(self, value: float, digits: int = 0, *, sign: str = "") -> str:
        """A figure with so many decimals, the language's decimal mark and a true minus; sign "+" shows both."""
        return self._marks(f"{value:{sign},.{digits}f}")

    def short(self, value: float) -> str:
        """A figure with the decimals it has: 0.5; 14"""
        return self._marks(f"{value:g}")

    def tick_figure(self, text: str) -> str:
        """A figure that an axis has worked out, with the language's marks; it stands alone."""
        return self._marked(text)

    def count(self, n: int) -> str:
        """A whole number with its thousands apart."""
        return self._marks(f"{n:,}")

    def percent(self, share: float, digits: int = 0) -> str:
        """66 %"""
        return self("numbers.percent", share=self.number(100 * share, digits))

    def chance(self, p: float) -> str:
        """A chance as a keeper says it: "7 in 10"; the ends as "less than 1 in 20"."""
        if p < 0.05:
            return self("chance.least")
        if p > 0.95:
            return self("chance.most")
        return self("chance.in_ten", times=_tenths(p))

    def chances(self, least: float, most: float) -> str:
        """Chances that differ, from the least to the greatest: "3 to 5 in 10"."""
        low, high = self.chance(least), self.chance(most)
        if low == high:
            return high
        if least < 0.05 or most > 0.95:
            return self.either(low, high)
        return self("chance.of_ten", least=_tenths(least), most=_tenths(most))

    def either(self, low: str, high: str) -> str:
        """15 to 29"""
        return self("numbers.range", low=low, high=high)

    def listed(self, parts, joint: str = "comma") -> str:
        """Parts one after the other, with what joins them."""
        return self(f"joints.{joint}").join(parts)

    def _marks(self, text: str) -> str:
        """A figure with the language's marks, and its sign at its left whatever letters run around it."""
        told = self._marked(text)
        signed = text.startswith(("-", "+"))
        return ISOLATED.format(told) if signed and self.direction == "rtl" else told

    def _marked(self, text: str) -> str:
        marks = {"-": "−", ".": self("numbers.decimal"), ",": self("numbers.thousands")}
        return text.translate(str.maketrans(marks))

    # ---- units ------------------------------------------------------------------------------

    @property
    def scale(self) -> float:
        """How many of the yard's unit of weight make a kilogram."""
        return shown_in("kg", self.units)[1]

    @property
    def length(self) -> tuple[float, str]:
        """How many of the yard's unit of distance make a kilometre, and its name."""
        name, factor, _ = shown_in("km", self.units)
        return factor, name

    def kg(self, kg: float, digits: int | None = None, *, sign: str = "") -> str:
        """A weight's figure without its unit; one decimal below 10, none above, unless told."""
        value = kg * self.scale
        if digits is not None:
            return self.number(value, digits, sign=sign)
        if round(value, 1) == 0:
            return "0"
        return self.number(value, 1 if abs(value) < 9.95 else 0, sign=sign)

    def weight(self, kg: float, digits: int | None = None, *, sign: str = "") -> str:
        """A weight in the yard's unit: 13 kg; sign "+" shows both: +13 kg"""
        return self._with_unit(self.kg(kg, digits, sign=sign), "kg")

    def weights(self, low: float, high: float, digits: int | None = None) -> str:
        """−0.3 to 3.8 kg"""
        return self._with_unit(self.either(self.kg(low, digits), self.kg(high, digits)), "kg")

    def temp(self, celsius: float) -> str:
        """A temperature in whole degrees: 14 °C; 57 °F"""
        return self.amount(Amount(celsius, "°C"))

    def temps(self, low: float, high: float) -> str:
        """14 to 38 °C"""
        return self._with_unit(self.either(self._in("°C", low), self._in("°C", high)), "°C")

    def mm(self, mm: float) -> str:
        """An amount of rain without its unit: whole millimetres, or tenths of an inch."""
        return self._in("mm", mm, 1 if self.units == "lb" else 0)

    def rain(self, mm: float) -> str:
        """An amount of rain: 523 mm; 20.6 in"""
        return self._with_unit(self.mm(mm), "mm")

    def amount(self, amount: Amount) -> str:
        """A figure with its unit, in the yard's own: 13 km; +1.0 °C"""
        figure = self._in(amount.unit, amount.value, amount.digits, amount.sign)
        return self._with_unit(figure, amount.unit) if amount.unit else figure

    def _in(self, unit: str, value: float, digits: int = 0, sign: str = "") -> str:
        """The figure in the unit the yard reads."""
        _, factor, start = shown_in(unit, self.units)
        return self._marks(f"{factor * value + start:{sign},.{digits}f}")

    def _with_unit(self, figure: str, unit: str) -> str:
        return self("numbers.unit", figure=figure, unit=shown_in(unit, self.units)[0])

    # ---- dates ------------------------------------------------------------------------------

    def day(self, date: pd.Timestamp) -> str:
        """9 November"""
        return self._dated("day", date)

    def full_day(self, date: pd.Timestamp) -> str:
        """9 November 2026"""
        return self._dated("full", date)

    def yearly(self, date: pd.Timestamp) -> str:
        """A day that comes every year: 9 November"""
        return self._dated("yearly", date)

    def tick(self, date: pd.Timestamp) -> str:
        """A day on an axis: 9 Nov"""
        return self._dated("tick", date)

    def weekday(self, date: pd.Timestamp) -> str:
        """Sunday 5 June"""
        return self._dated("weekday", date)

    def soon(self, date: pd.Timestamp) -> str:
        """A day of the next weeks: Sun 5 June"""
        return self._dated("soon", date)

    def moment(self, time: pd.Timestamp) -> str:
        """9 November 2026, 14:20"""
        return self("dates.moment", date=self.full_day(time), clock=f"{time:%H:%M}")

    def span(self, first: pd.Timestamp, last: pd.Timestamp) -> str:
        """9 to 28 November; 28 October to 9 November"""
        if (first.year, first.month) == (last.year, last.month):
            return self._within("within", first, last)
        return self("dates.range", first=self.day(first), last=self.day(last))

    def yearly_span(self, first: pd.Timestamp, last: pd.Timestamp) -> str:
        """The same of days that come every year."""
        if first.month == last.month:
            return self._within("within_yearly", first, last)
        return self("dates.range", first=self.yearly(first), last=self.yearly(last))

    def full_span(self, first: pd.Timestamp, last: pd.Timestamp) -> str:
        """28 October 2026 to 9 November 2026"""
        return self("dates.range", first=self.full_day(first), last=self.full_day(last))

    def month(self, first: pd.Timestamp, last: pd.Timestamp | None = None) -> str:
        """November 2026; or, from a first to a last day in it, 9 to 28 November 2026"""
        if last is not None and (last - first).days + 1 < first.days_in_month:
            return self._within("within_full", first, last)
        return self("dates.month", month=self.month_name(first), year=str(first.year))

    def month_name(self, date: pd.Timestamp) -> str:
        """November"""
        return self(f"months_alone.{MONTHS[date.month - 1]}")

    def month_tick(self, date: pd.Timestamp) -> str:
        """A month on an axis: Nov"""
        return self(f"months_short.{MONTHS[date.month - 1]}")

    def _within(self, which: str, first: pd.Timestamp, last: pd.Timestamp) -> str:
        begins = {"first": str(first.day), "first_dd": f"{first:%d}"}
        return self._dated(which, last, **begins)

    def _dated(self, which: str, date: pd.Timestamp, **more: str) -> str:
        month, weekday = MONTHS[date.month - 1], WEEKDAYS[date.weekday()]
        parts = {
            "day": str(date.day),
            "dd": f"{date:%d}",
            "mm": f"{date:%m}",
            "year": str(date.year),
            "month": self(f"months.{month}"),
            "mon": self(f"months_short.{month}"),
            "weekday": self(f"weekdays.{weekday}"),
            "wd": self(f"weekdays_short.{weekday}"),
        }
        return self(f"dates.{DATE_FORMS[self.dates]}.{which}", **parts, **more)


def capital(text: str) -> str:
    """A text that begins a sentence."""
    return text[:1].upper() + text[1:]


def _tenths(p: float) -> int:
    """A chance in tenths; what is neither certain nor impossible is never said to be."""
    return min(max(round(10 * p), 1), 9)
