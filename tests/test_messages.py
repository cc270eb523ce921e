"""The file of messages: every key used is there and every one there is used; a translation can be made."""

import ast
import re
from pathlib import Path

import pandas as pd
import pytest
from pseudo import in_greek, write_pseudo

import flowcast
from flowcast.errors import InputError
from flowcast.messages import DATE_FORMS, Say, english, read_words
from flowcast.messages.words import fields_of

ROOT = Path(flowcast.__file__).parent
ENTRIES = english().entries
GROUPS = {key.split(".")[0] for key in ENTRIES}
# A key as it is written in code: group, dot, name; what is a file's name is none.
KEY = re.compile(r"[a-z_]+\.(?!html$|toml$|csv$|css$|js$|py$)[A-Za-z0-9_][\w:,. -]*")
NUMBERS = ("entry", "under")  # what is asked for with these is a number, not a text


def _asked_in(tree: ast.AST):
    """(text, whole) of each key in a module: whole keys, and the beginnings of those put together."""
    passed = {
        id(part) for node in ast.walk(tree) for skip in _no_keys(node) for part in ast.walk(skip)
    }
    for node in ast.walk(tree):
        if id(node) in passed:
            continue
        if isinstance(node, ast.JoinedStr) and isinstance(node.values[0], ast.Constant):
            yield node.values[0].value, False
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value, True


def _in_notes(tree: ast.AST):
    """The keys of notes, which parts that know no language make."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and ast.unparse(node.func) in ("Note.of", "draft.tell"):
            for text, whole in _asked_in(node.args[0]):
                text = f"completed.{text}" if node.func.attr == "tell" else text
                if text.split(".")[0] in GROUPS:
                    yield text, whole


def _no_keys(node: ast.AST):
    """Parts in which a dotted word is no key: what numbers are looked up by, and docstrings."""
    if isinstance(node, ast.Subscript):
        yield node.slice
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        yield from node.args if node.func.attr in NUMBERS else ()
    if isinstance(node, ast.JoinedStr):
        yield from (part for part in node.values if isinstance(part, ast.Constant))


def _asked():
    """Every key, or beginning of one, that stands in code or in a template."""
    for part in ("messages", "plots", "report"):
        for path in sorted((ROOT / part).glob("*.py")):
            for text, whole in _asked_in(ast.parse(path.read_text("utf-8"))):
                if text.split(".")[0] in GROUPS and (KEY.fullmatch(text) if whole else "." in text):
                    yield path.name, text, whole
    for path in sorted(ROOT.rglob("*.py")):
        yield from ((path.name, *asked) for asked in _in_notes(ast.parse(path.read_text("utf-8"))))
    for path in sorted((ROOT / "report").glob("*.html")):
        for text, more in re.findall(r"say\('([^']+)'( ~)?", path.read_text("utf-8")):
            yield path.name, text, not more


def _unknown(asked) -> list[str]:
    return [
        f"{file}: {text}"
        for file, text, whole in asked
        if not (text in ENTRIES if whole else any(key.startswith(text) for key in ENTRIES))
    ]


def _unused(asked) -> list[str]:
    whole = {text for _, text, is_whole in asked if is_whole}
    begun = tuple(text for _, text, is_whole in asked if not is_whole)
    return [key for key in ENTRIES if key not in whole and not key.startswith(begun)]


def test_every_key_asked_for_is_there_and_every_one_there_is_asked_for():
    asked = list(_asked())
    assert len(asked) > 400  # else the search itself is broken
    assert _unknown(asked) == []
    assert _unused(asked) == []


def test_a_key_that_is_not_there_and_one_that_is_not_asked_for_are_noticed():
    wrong = [
        ("x.py", "outlook.onn", True),
        ("x.py", "nowhere.", False),
        ("x.py", "work.feed", True),
    ]
    assert _unknown(wrong) == ["x.py: outlook.onn", "x.py: nowhere."]
    assert "outlook.on" in _unused(wrong) and "work.feed" not in _unused(wrong)
    [(text, whole)] = _asked_in(ast.parse('say("outlook.on", n=numbers["flow.days"])'))
    assert (text, whole) == ("outlook.on", True)


def _calls():
    """Calls of say with a whole key and its fields by name."""
    for part in ("messages", "plots", "report"):
        for path in sorted((ROOT / part).glob("*.py")):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if not (isinstance(node, ast.Call) and node.args and _is_say(node.func)):
                    continue
                names = [k.arg for k in node.keywords]
                if isinstance(node.args[0], ast.Constant) and None not in names:
                    yield path.name, node.args[0].value, set(names)


def _is_say(func: ast.AST) -> bool:
    name = func.attr if isinstance(func, ast.Attribute) else getattr(func, "id", "")
    return name in ("say", "self")


def test_each_text_is_given_its_fields():
    calls = list(_calls())
    assert len(calls) > 150  # else the search itself is broken
    short = [(f, key) for f, key, given in calls if not fields_of(ENTRIES[key]) <= given]
    counted = [(f, key) for f, key, given in calls if len(ENTRIES[key]) > 1 and "n" not in given]
    assert short == [] and counted == []


# What is said of a word of code stands under that word; each list is the code's own.
def _vocabulary():
    from flowcast.flow.kinds import KINDS
    from flowcast.plots.log import MARKED
    from flowcast.reasons.kilograms import DRIVERS, FLIGHT, IN_ALL
    from flowcast.scale_log.causes import CAUSES
    from flowcast.tables import WEATHER, WORK_SIGN
    from flowcast.verification import BASELINES
    from flowcast.verification.summary import GROUPS as LEADS
    from flowcast.verification.summary import TOTALS
    from flowcast.yard.folder import TRAPS

    return {
        "kinds": KINDS,
        "faults": MARKED,
        "marks": MARKED,
        "drivers": (*DRIVERS, IN_ALL),
        "mostly_costs": FLIGHT,
        "mostly_gifts": FLIGHT,
        "work": (*WORK_SIGN, *(words for words, _ in CAUSES.values())),
        "quantities": tuple(WEATHER),
        "forecasters": tuple(BASELINES),
        "leads": (*LEADS, *(f"total {days} d" for days in TOTALS)),
        "traps": TRAPS,
    }


@pytest.mark.parametrize("group", sorted(_vocabulary()))
def test_every_word_of_code_has_its_text(group):
    assert {f"{group}.{word}" for word in _vocabulary()[group]} <= set(ENTRIES)


def test_every_number_status_and_area_has_its_text():
    from flowcast.beetle.presence import _areas
    from flowcast.numbers import load_numbers

    numbers = load_numbers()
    groups = {key.split(".")[0] for key in ENTRIES if key.startswith("number_groups.")}
    assert groups
    for number in numbers.under(
        *{k.split(".")[1] for k in ENTRIES if k.startswith("number_groups.")}
    ):
        assert f"statuses.{number.status}" in ENTRIES
    assert {f"areas.{area['name']}" for area in _areas()} <= set(ENTRIES)


# ---- a translation --------------------------------------------------------------------------------


def _written(folder, text):
    (folder / "words-xx.toml").write_text(text, "utf-8")
    return read_words(folder / "words-xx.toml", "xx")


def test_a_translation_speaks_and_english_stands_in_for_what_it_lacks(tmp_path):
    words = _written(tmp_path, 'plural = "n != 1"\n[chance]\nin_ten = "{times} von 10"\n')
    say = Say(words)
    assert say.chance(0.7) == "7 von 10"
    assert say.chance(0.01) == "less than 1 in 20"
    assert len(words.missing) == len(ENTRIES) - 1
    assert say.language == "xx"


# Polish takes three forms: 1; 2 to 4 and 22 to 24 but not 12 to 14; the rest (gettext's manual, MEMORY).
POLISH = "n==1 ? 0 : n%10>=2 && n%10<=4 && (n%100<10 || n%100>=20) ? 1 : 2"


@pytest.mark.parametrize("n, form", [(1, "a"), (2, "b"), (5, "c"), (12, "c"), (22, "b"), (0, "c")])
def test_what_is_counted_takes_the_form_of_the_language(tmp_path, n, form):
    text = f'plural = "{POLISH}"\n[counts]\ndays = ["{{n}} a", "{{n}} b", "{{n}} c"]\n'
    say = Say(_written(tmp_path, text))
    assert say("counts.days", n=n) == f"{n} {form}"
    assert say("counts.years", n=n) == f"{n} {'year' if n == 1 else 'years'}"  # English stands in


@pytest.mark.parametrize(
    "text, says",
    [
        ('[chance]\nin_tenn = "x"\n', "words-xx.toml, chance.in_tenn: no such text in English"),
        (
            '[chance]\nin_ten = "often"\n',
            "chance.in_ten: its fields .* ({times}). Write just these",
        ),
        ('[chance]\nin_ten = "{times} {x}"\n', "in_ten: its fields are not those"),
        ('[chance]\nin_ten = "{times:>99}"\n', "in_ten: its fields are not those"),
        ('[chance]\nin_ten = "{times.real}"\n', "in_ten: its fields are not those"),
        ('[chance]\nin_ten = "{times"\n', "a brace is not closed. Write every field as in English"),
        ('[counts]\ndays = "{n} dni"\n', "counts.days: has 1 forms where 2 are wanted"),
        ('[chance]\nin_ten = ["{times}", "{times}"]\n', "has 2 forms where 1 are wanted"),
        ('plural = "n if n else 0"\n', "words-xx.toml: plural .* not understood. Mend it"),
        ('plural = "__import__"\n', "not understood"),
        (
            'direction = "down"\n',
            "words-xx.toml: direction = 'down' is neither of ltr, rtl. Mend it",
        ),
        ('plural = "n % 0"\n', "words-xx.toml: .*Mend it"),
        ("[chance\n", "words-xx.toml: .*Mend it; en.toml shows how it is written"),
    ],
)
def test_an_entry_that_does_not_match_is_refused_in_one_sentence(tmp_path, text, says):
    with pytest.raises(InputError, match=says.replace("(", r"\(").replace(")", r"\)")) as refused:
        _written(tmp_path, text)
    assert "\n" not in str(refused.value)


def test_the_whole_of_english_can_be_copied_and_handed_back(tmp_path):
    source = Path(flowcast.messages.__file__).parent / "en.toml"
    words = _written(tmp_path, source.read_text("utf-8"))
    assert words.missing == () and words.entries == ENTRIES


def test_the_machine_made_translation_is_whole(tmp_path):
    words = read_words(write_pseudo(tmp_path), "xx")
    assert words.missing == ()
    assert not re.search(
        "[A-Za-z]", re.sub(r"\{\w*\}", "", "".join(map(in_greek, words.entries["work.feed"])))
    )


# ---- numbers and dates ----------------------------------------------------------------------------


def test_numbers_take_the_marks_of_the_language(tmp_path):
    say = Say(_written(tmp_path, '[numbers]\ndecimal = ","\nthousands = "."\n'))
    assert say.number(-3.25, 2) == "−3,25"
    assert say.count(12345) == "12.345"
    assert say.weight(0.04) == "0 kg"
    assert say.weight(-0.04, sign="+") == "0 kg"
    assert say.weight(0.4, sign="+") == "+0,4 kg"
    assert say.weights(-0.3, 3.8) == "−0,3 to 3,8 kg"


DATES = {  # by hand; 5 July 2026 is a Sunday (calendar)
    "9 November 2026": ("5 July 2026", "5 July", "5 Jul", "Sunday 5 July", "5 to 9 July", "5 July to 2 August"),
    "November 9, 2026": ("July 5, 2026", "July 5", "Jul 5", "Sunday, July 5", "July 5 to 9", "July 5 to August 2"),
    "2026-11-09": ("2026-07-05", "2026-07-05", "07-05", "Sunday 2026-07-05", "2026-07-05 to 2026-07-09", "2026-07-05 to 2026-08-02"),
}  # fmt: skip


@pytest.mark.parametrize("form", DATE_FORMS)
def test_dates_are_told_in_the_form_asked_for(form):
    say, day = Say(dates=form), pd.Timestamp("2026-07-05")
    near, far = pd.Timestamp("2026-07-09"), pd.Timestamp("2026-08-02")
    told = (say.full_day(day), say.day(day), say.tick(day), say.weekday(day))
    assert (*told, say.span(day, near), say.span(day, far)) == DATES[form]
    assert say.month(day) == "July 2026"


@pytest.mark.parametrize(
    "key, fields, one, more",
    [
        ("flight.of_flight", {}, "1 hour of flight", "3 hours of flight"),
        ("flight.on_days", {}, "1 foraging day", "3 foraging days"),
        ("check.daily_gains", {}, "1 daily gain", "3 daily gains"),
        ("check.totals", {"days": "2"}, "1 total over 2 days", "3 totals over 2 days"),
        ("check.times_before", {}, "And 1 time before.", "And 3 times before."),
    ],
)
def test_one_of_a_thing_is_said_as_one(key, fields, one, more):
    # Singular and plural of English; common knowledge, no source.
    assert Say()(key, n=1, **fields) == one
    assert Say()(key, n=3, **fields) == more
