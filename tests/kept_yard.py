"""A yard's folder for the tests of dated advice: two hives on scales, one described and one not."""

from test_pipeline import hive_weights

ISSUE = "2024-06-10"
YARD = """\
[yard]
name = "Test (invented)"
latitude = {latitude}
longitude = 15.3
elevation_m = 300
timezone = "Etc/GMT-1"
{yard}
[[forage]]
name = "lime"
from = "{first}"
to = "{last}"
strength = "heavy"
"""
HIVE = """
[[hive]]
name = "{name}"
scale = {{ file = "{file}.csv", time = "time", weight = "kg", unit = "kg", clock = "utc" }}
{more}
"""
BOXES = """\
seen = 2024-06-08
frames_of_bees = 16
queenright = true
wood_kg = 24
boxes = [{ kind = "deep", frames = 10, drawn = 10, full = 4 }, { kind = "medium", frames = 10, drawn = 10, full = 3 }]
"""


def write_folder(folder, weather, *, south=False, yard="", more=BOXES, work="", bloom="", name="A"):
    folder.mkdir(parents=True, exist_ok=True)
    bloom_span = ("12-05", "01-05") if south else ("06-05", "07-05")
    head = YARD.format(
        latitude=-48.6 if south else 48.6, yard=yard, first=bloom_span[0], last=bloom_span[1]
    )
    hives = HIVE.format(name=name, file="A", more=more) + HIVE.format(name="B", file="B", more="")
    (folder / "yard.toml").write_text(head + hives, "utf-8")
    weather.to_csv(folder / "weather.csv")
    for k, file in enumerate(("A", "B")):
        log = hive_weights("2023-03-01", "2024-12-31", seed=k, south=south)
        log.to_csv(folder / f"{file}.csv", index=False)
    (folder / "work.csv").write_text("date,hive,what,kg,note\n" + work, "utf-8")
    (folder / "bloom.csv").write_text("date,plant,stage\n" + bloom, "utf-8")
    return folder
