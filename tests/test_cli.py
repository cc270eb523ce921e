"""The command line: thin, quick to answer, one line for what is wrong."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from flowcast import cli
from flowcast.yard import read_yard

SAMPLES = Path(__file__).parent.parent / "sample_yards"
HEAVY = ("pandas", "statsmodels", "matplotlib", "scipy", "pvlib")


def run(*arguments):
    """The command as a user runs it, in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "flowcast", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize(
    "arguments", [["--help"], ["outlook", "--help"], ["nonsense"], ["outlook"]]
)
def test_help_and_usage_errors_load_nothing_heavy(arguments):
    code = (
        f"import sys; sys.argv = ['flowcast', *{arguments!r}]\n"
        "from flowcast.cli import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    code = end.code\n"
        f"print('heavy:', [m for m in {HEAVY!r} if m in sys.modules], code)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1].startswith("heavy: []")


def test_usage_error_exits_2():
    assert run("outlook").returncode == 2
    assert run("nonsense").returncode == 2


@pytest.mark.parametrize(
    "arguments, says",
    [
        (["outlook", "nowhere"], "no such folder"),
        (["check", "nowhere"], "no such folder"),
        (["outlook", SAMPLES / "new-garden", "--as-of", "2026-31-01"], "not understood as a date"),
        (["outlook", SAMPLES / "new-garden", "--as-of", "1999-01-01"], "no weather before"),
        (["outlook", SAMPLES / "new-garden", "--as-of", "2999-01-01"], "Mend the year"),
        (["report", SAMPLES / "new-garden", "--out", "/proc/x/page.html"], "flowcast:"),
    ],
)
def test_what_is_wrong_is_one_line_and_exit_1(arguments, says):
    done = run(*arguments)
    assert done.returncode == 1
    assert says in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert done.stdout == ""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no full device on this machine")
@pytest.mark.parametrize("command", ["check", "report"])
def test_a_full_disk_is_one_line_and_exit_1(command, tmp_path):
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "flowcast", command, str(SAMPLES / "new-garden")],
            stdout=full, stderr=subprocess.PIPE, text=True, cwd=tmp_path,
        )  # fmt: skip
    assert done.returncode == 1
    assert "No space left" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_new_writes_a_yard_that_is_read_back(tmp_path):
    folder = tmp_path / "orchard"
    done = CliRunner().invoke(
        cli.app,
        ["new", str(folder), "--name", "Orchard", "--lat", "48.2", "--lon", "16.4", "--hive", "green",
         "--forage", "lime tree 06-10 07-01 heavy"],
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    yard = read_yard(folder)
    assert yard.hives[0].name == "green"
    assert yard.forage[0].name == "lime tree"


def test_new_asks_for_what_is_not_given(tmp_path):
    done = CliRunner().invoke(
        cli.app, ["new", str(tmp_path / "y")], input="My yard\n-28.6\n153.3\n"
    )
    assert done.exit_code == 0, done.output
    assert read_yard(tmp_path / "y").place.season_start == (7, 1)


def test_every_command_has_help_with_an_example():
    for command in cli.app.registered_commands:
        assert "Example: flowcast " in command.callback.__doc__


def test_check_of_a_sample_yard_says_what_is_there():
    done = run("check", SAMPLES / "new-garden")
    assert done.returncode == 0, done.stderr
    assert "No scale log" in done.stdout
    assert done.stderr == ""  # where nobody watches there is no bar, nor the line it stood on


def test_outlook_json_is_versioned_and_has_no_nan():
    done = run("outlook", SAMPLES / "new-garden", "--json", "--scenarios", "100")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout, parse_constant=pytest.fail)
    assert found["schema"] == "flowcast-outlook"
    assert found["schema_version"] == 1
    assert len(found["daily"]) == 45
    assert found["numbers"][0]["source"]


def test_outlook_in_words_says_chance_interval_and_basis():
    done = run("outlook", SAMPLES / "new-garden", "--scenarios", "100")
    assert done.returncode == 0, done.stderr
    for part in (
        "in 10",
        "in the next 30 days",
        "What this rests on",
        "No scale log",
        "it does not replace looking",
    ):
        assert part in done.stdout


def test_a_read_only_yard_is_enough(tmp_path):
    import shutil

    folder = tmp_path / "yard"
    shutil.copytree(SAMPLES / "new-garden", folder)
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    for path in [*folder.iterdir(), folder]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    assert run("check", folder).returncode == 0
    folder.chmod(0o755)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_check_draws_its_logs(tmp_path):
    yard = SAMPLES / "inland-winter"
    done = run("check", yard, "--plot", tmp_path / "logs")
    assert done.returncode == 0, done.stderr
    written = sorted(path.name for path in (tmp_path / "logs").iterdir())
    assert written == ["Alder.svg", "Birch.svg", "Cherry.svg", "Damson.svg"]
    assert "<title>Alder, 4 April 2021" in (tmp_path / "logs" / "Alder.svg").read_text("utf-8")
    one = run("check", yard, "--plot", tmp_path / "all.svg", "--json")
    assert json.loads(one.stdout)["written"] == [str(tmp_path / "all.svg")]


def test_picture_of_another_kind_is_refused(tmp_path):
    done = run("check", SAMPLES / "inland-winter", "--plot", tmp_path / "all.png")
    assert done.returncode == 1 and "ends in .svg, or a folder" in done.stderr
