"""yard.toml as checked settings: the words a keeper may write and what each may be."""

from __future__ import annotations

import re
import tomllib
from datetime import date
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Literal, get_args, get_origin

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from flowcast.errors import InputError
from flowcast.messages import DATE_FORMS

FILE_NAME = "yard.toml"


def _month_day(text: str) -> str:
    try:
        date.fromisoformat(f"2024-{text}")
    except ValueError:
        raise ValueError('write month and day as "08-10"') from None
    return text


def _clock(text: str) -> str:
    if text in ("local", "utc") or re.fullmatch(r"[+-]\d\d:\d\d", text):
        return text
    raise ValueError('write "local", "utc" or a fixed offset such as "+10:00"')


def _language(text: str) -> str:
    if not re.fullmatch(r"[a-z]{2,3}(-[A-Za-z0-9]{2,8})?", text):
        raise ValueError('write the code of a language, such as "en" or "de"')
    return text


def _date_form(text: str) -> str:
    if text not in DATE_FORMS:
        raise ValueError("write one of " + ", ".join(f'"{form}"' for form in DATE_FORMS))
    return text


MonthDay = Annotated[str, AfterValidator(_month_day)]
Clock = Annotated[str, AfterValidator(_clock)]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class YardSection(_Section):
    """[yard]: where it is and how its season is counted."""

    name: str = Field(min_length=1, max_length=200)
    latitude: float = Field(ge=-66.6, le=71)
    longitude: float = Field(ge=-180, le=180)
    elevation_m: float | None = Field(default=None, ge=-450, le=5500)
    timezone: str | None = None
    flow_day_kg: float | None = Field(default=None, gt=0, le=10)
    season_start: MonthDay | None = None
    units: Literal["kg", "lb"] = "kg"
    language: Annotated[str, AfterValidator(_language)] = "en"
    dates: Annotated[str, AfterValidator(_date_form)] = "9 November 2026"
    visit_days: list[Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]] = []
    visit_every_d: int = Field(default=7, ge=1, le=60)
    learn_from: list[str] = []


class ScaleSection(_Section):
    """scale = {...}: which file and columns hold a hive's weights, and in what unit and clock.

    A file with one column a hive is named by each of its hives, with another `weight`; one with
    all hives below one another has a `hive_column`, and the hive's rows bear its name there or
    `hive_name`.
    """

    file: str | list[str]
    time: str = "time"
    weight: str | list[str] = "weight"
    hive_column: str | None = None
    hive_name: str | None = None
    dates: Literal["day first", "month first"] | None = None
    unit: Literal["kg", "lb", "g"]
    clock: Clock = "local"
    decimal: Literal[".", ","] | None = None
    separator: Literal[",", ";", "\t", " "] | None = None

    @property
    def files(self) -> list[str]:
        """The file names, always as a list."""
        return [self.file] if isinstance(self.file, str) else list(self.file)

    @property
    def weights(self) -> list[str]:
        """The weight columns, always as a list; a hive on several load cells weighs their sum."""
        return [self.weight] if isinstance(self.weight, str) else list(self.weight)


class BoxSection(_Section):
    """One box of a hive; foundation is not drawn comb."""

    kind: Literal["deep", "medium", "shallow", "jumbo", "national brood", "national super"]
    frames: int = Field(default=10, ge=1, le=14)
    drawn: int | None = Field(default=None, ge=0, le=14)
    full: float | None = Field(default=None, ge=0, le=14)


class HiveSection(_Section):
    """[[hive]]: one colony at this yard.

    What changes with every visit (frames_of_bees, queenright, boxes, wood_kg, stores_kg) is of the day
    `seen`; without it, of today.
    """

    name: str = Field(min_length=1, max_length=100)
    kind: Literal["honey", "nucleus"] = "honey"
    from_: date | None = Field(default=None, alias="from")
    to: date | None = None
    frames_of_bees: float | None = Field(default=None, ge=0, le=40)
    queenright: bool | Literal["unknown"] = "unknown"
    scale: ScaleSection | list[ScaleSection] | None = None
    boxes: list[BoxSection] = []
    wood_kg: float | None = Field(default=None, ge=0, le=80)
    stores_kg: float | None = Field(default=None, ge=0, le=120)
    seen: date | None = None
    came_as: Literal["colony", "nucleus", "package", "swarm"] | None = None
    clipped_queen: bool = False

    @property
    def scales(self) -> list[ScaleSection]:
        """The scales that stood under the hive one after the other."""
        if self.scale is None:
            return []
        return list(self.scale) if isinstance(self.scale, list) else [self.scale]


class ForageSection(_Section):
    """[[forage]]: what the keeper knows blooms here."""

    name: str = Field(min_length=1, max_length=100)
    from_: MonthDay = Field(alias="from")
    to: MonthDay
    strength: Literal["light", "fair", "heavy"] = "fair"
    follows: Literal["warmth", "day length", "rain", "dates"] = "warmth"
    irregular: bool = False


class BeetleSection(_Section):
    """[beetle]: whether small hive beetles live here, and on what soil."""

    present: bool | Literal["unknown"] = "unknown"
    soil: (
        Literal["sand", "loamy sand", "sandy loam", "loam", "silt loam", "clay loam", "clay"] | None
    ) = None
    irrigated: bool | None = None


class WeatherSection(_Section):
    """[weather]: where the yard's weather comes from."""

    file: str | None = None
    time: str | None = None
    clock: Clock | None = None
    decimal: Literal[".", ","] | None = None
    separator: Literal[",", ";", "\t"] | None = None
    dates: Literal["day first", "month first"] | None = None
    columns: dict[str, str] = {}
    services: list[str] | None = None
    contact: str | None = Field(default=None, min_length=3, max_length=200)
    commercial: bool = False
    shelter: float | None = Field(default=None, gt=0, le=1)
    urls: dict[str, str] = {}


class Settings(_Section):
    """The whole of yard.toml."""

    yard: YardSection
    hive: list[HiveSection] = []
    forage: list[ForageSection] = []
    beetle: BeetleSection = BeetleSection()
    weather: WeatherSection = WeatherSection()
    numbers: dict[str, Any] = {}


def read_settings(folder: Path) -> tuple[Settings, str]:
    """yard.toml of this folder, checked; also its text, for saying where a line is.

    Raises
    ------
    InputError
        When the folder or file is missing, is no TOML, or a key or value is not known; the
        message names the line and the cure.
    """
    path = folder / FILE_NAME
    if folder.is_file():
        raise InputError(f"{folder}: a file. Name the folder that holds it: {folder.parent}")
    if not folder.is_dir():
        raise InputError(f"{folder}: no such folder. Make a yard with: flowcast new {folder}")
    if not path.is_file():
        raise InputError(f"{folder}: no {FILE_NAME} in it. Make one with: flowcast new {folder}")
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{FILE_NAME}: not saved as UTF-8. Save it again as UTF-8 text.") from None
    return parse_settings(text), text


def parse_settings(text: str) -> Settings:
    """The text of a yard.toml, checked.

    Raises
    ------
    InputError
        At the first thing that is no TOML or not known, with its line and the cure.
    """
    try:
        settings = Settings.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{FILE_NAME}: {error}. {_toml_cure(text)}") from None
    except ValidationError as error:
        raise InputError(_in_words(error, text)) from None
    _check_names(settings, text)
    return settings


def _toml_cure(text: str) -> str:
    """What to do about a line that is no TOML: a decimal comma is the likeliest slip."""
    for number, line in enumerate(text.splitlines(), start=1):
        slip = re.match(r"\s*[\w.\"]+\s*=\s*([-+]?\d+),(\d+)\s*(#.*)?$", line)
        if slip:
            return f"Line {number}: numbers take a point here, {slip[1]}.{slip[2]}."
    return "Mend that line; text stands in quotes."


def flat_numbers(tree: dict[str, Any], prefix: str = "") -> dict[str, Any]:
    """[numbers] as "group.name" -> value, written either flat or as tables."""
    flat: dict[str, Any] = {}
    for key, value in tree.items():
        name = f"{prefix}{key}"
        flat |= flat_numbers(value, f"{name}.") if isinstance(value, dict) else {name: value}
    return flat


def line_of(text: str, section: str, index: int = 0, key: str | None = None) -> int:
    """The line of yard.toml on which this key (or its section) stands; 1 when not found."""
    seen, inside, section_line = -1, False, 1
    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*\[+\s*([^\]]+?)\s*\]+", line)
        if header:
            inside = header[1].strip().split(".")[0] == section
            seen += inside
            section_line = number if inside and seen == index else section_line
        elif inside and seen == index and key and re.match(rf'\s*"?{re.escape(key)}"?\s*=', line):
            return number
    return section_line


def _check_names(settings: Settings, text: str) -> None:
    names = [hive.name for hive in settings.hive]
    for i, name in enumerate(names):
        if name in names[:i]:
            raise InputError(
                f"{FILE_NAME}, line {line_of(text, 'hive', i, 'name')}: two hives are called "
                f"{name!r}. Give each its own name."
            )
    for i, hive in enumerate(settings.hive):
        if hive.from_ and hive.to and hive.from_ > hive.to:
            raise InputError(
                f"{FILE_NAME}, line {line_of(text, 'hive', i, 'from')}: hive {hive.name!r} leaves "
                "before it comes. Mend from or to."
            )


def _in_words(error: ValidationError, text: str) -> str:
    problems = _told_apart(error)
    first = problems[0]
    section, *loc = first["loc"]
    index = loc[0] if loc and isinstance(loc[0], int) else 0
    keys = [part for part in loc if isinstance(part, str) and not _is_form(part)]
    line = line_of(text, section, index, keys[0] if keys else None)
    more = f" ({len(problems) - 1} more after this one.)" if len(problems) > 1 else ""
    return f"{FILE_NAME}, line {line}: {_problem(first, section, keys)}{more}"


def _told_apart(error: ValidationError) -> list[dict[str, Any]]:
    """The problems, misspelt keys first, since one that is missing may be among them.

    Of a value that may have either of two forms, one or several, that of the form it has not is none.
    """
    problems = [p for p in error.errors() if not _is_form(p["loc"][-1])] or error.errors()
    return sorted(problems, key=lambda problem: problem["type"] != "extra_forbidden")


def _is_form(part: str | int) -> bool:
    """Whether this names no key but one of the forms that a value may have: a model or a list of it."""
    return isinstance(part, str) and part.removeprefix("list[").removesuffix("]").endswith(
        "Section"
    )


def _problem(problem: dict[str, Any], section: str, keys: list[str]) -> str:
    name = ".".join([section, *keys])
    if problem["type"] == "extra_forbidden":
        known = _known_keys(section, keys)
        close = get_close_matches(keys[-1] if keys else section, known, n=1)
        cure = f"Did you mean {close[0]!r}?" if close else f"Known here: {', '.join(known)}."
        return f"unknown key {name!r}. {cure}"
    if problem["type"] == "missing":
        choices = _choices(section, keys)
        return f"{name!r} is missing. Add it{': one of ' + choices if choices else ''}."
    shown = repr(problem["input"])
    shown = shown if len(shown) <= 60 else f"{shown[:57]}..."
    return f"{name} = {shown}: {_message(problem['msg'], name)}."


def _message(message: str, name: str) -> str:
    message = message.removeprefix("Value error, ").replace("Input should be ", "it must be ")
    if name == "yard.latitude":
        message += "; if latitude and longitude are swapped, change them round"
    return message[0].lower() + message[1:]


def _choices(section: str, keys: list[str]) -> str:
    """What may be written for a key that takes one of a few words; empty for any other."""
    model = _model(section, keys)
    kind = (
        model.model_fields[keys[-1]].annotation
        if model and keys[-1] in model.model_fields
        else None
    )
    return ", ".join(f'"{word}"' for word in get_args(kind)) if get_origin(kind) is Literal else ""


def _known_keys(section: str, keys: list[str]) -> list[str]:
    if not keys:
        return list(Settings.model_fields)
    model = _model(section, keys)
    return [f.alias or n for n, f in model.model_fields.items()] if model else []


def _model(section: str, keys: list[str]) -> type[_Section] | None:
    """What a key stands in; None where that has no keys of its own."""
    sections: dict[str, type[_Section]] = {
        "yard": YardSection,
        "hive": HiveSection,
        "forage": ForageSection,
        "beetle": BeetleSection,
        "weather": WeatherSection,
    }
    inner = {"scale": ScaleSection, "boxes": BoxSection}
    return inner.get(keys[0]) if len(keys) > 1 else sections.get(section)
