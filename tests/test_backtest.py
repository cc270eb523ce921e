"""Outlooks of past dates beside what came: the scores by hand, nothing from later, the command."""

import json
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
from conftest import plain_weather
from test_pipeline import FORAGE, HIVE, hive_weights
from typer.testing import CliRunner

from flowcast import pipeline
from flowcast.cli import app
from flowcast.errors import InputError, NotEnoughDataError
from flowcast.pipeline.backtest import _Truth
from flowcast.plots.canvas import draw_alone
from flowcast.plots.trust import draw_reliability
from flowcast.report import trust
from flowcast.report.data import backtest_data
from flowcast.tables import QUANTILE_NAMES
from flowcast.verification import judge, observed_totals, observed_window
from flowcast.verification.summary import OURS


def make_yard(folder):
    head = (
        '[yard]\nname = "Test (invented)"\nlatitude = 48.6\nlongitude = 15.3\nelevation_m = 300\n'
    )
    (folder / "yard.toml").write_text(head + FORAGE + HIVE.format(name="A"), "utf-8")
    plain_weather("2020-01-01").to_csv(folder / "weather.csv")
    hive_weights("2023-03-01", "2024-12-31").to_csv(folder / "A.csv", index=False)
    return folder


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    return make_yard(tmp_path_factory.mktemp("yard"))


def back(folder, **more):
    asked = {
        "every": 56,
        "scenarios": 200,
        "processes": 1,
        "first": "2024-04-01",
        "last": "2024-08-01",
    }
    return pipeline.backtest(folder, **asked | more)


@pytest.fixture(scope="module")
def found(yard):
    return back(yard)


def forecast_rows(quantiles, observed, *, lead=1, target="daily", chance=np.nan, forecaster=OURS):
    row = dict(zip(QUANTILE_NAMES, quantiles, strict=True))
    return pd.DataFrame(
        [
            row
            | {
                "issue_date": pd.Timestamp("2024-06-01"),
                "forecaster": forecaster,
                "weather": "past-years",
                "target": target,
                "lead_day": lead,
                "p_flow_day": chance,
                "observed": observed,
            }
        ]
    )


NO_WINDOWS = pd.DataFrame(columns=["weather", "chance", "start", "came", "came_start"])

# Hand-worked


def test_what_full_hives_gained_judges_nothing(found):
    # The same log with a week of July marked: those days are unknown and totals end before them.
    week = pd.date_range("2024-07-08", "2024-07-14")
    spans = found.record.spans
    marked = spans.assign(lower_bound=spans.index.isin(week).astype(float))
    truth = _Truth.of(replace(found.record, spans=marked))
    assert truth.gains.reindex(week).isna().all()
    assert truth.gains.drop(week).equals(spans["gain_kg"].reindex(truth.gains.index).drop(week))
    totals = observed_totals(truth.spans, pd.Timestamp("2024-07-05"), 7)
    assert np.isfinite(totals[:3]).all() and np.isnan(totals[3:]).all()


def test_loss_and_coverage_of_one_forecast_by_hand():
    """Quantiles -3 ... 3, came 1.5. Twice the pinball losses are 2q(1.5 - x) below and 2(1-q)(x - 1.5)
    above: 0.45 + 0.70 + 1.25 + 1.50 + 0.75 + 0.10 + 0.15, over 7 levels = 0.7.
    """
    rows = forecast_rows([-3, -2, -1, 0, 1, 2, 3], 1.5, chance=0.7)
    scores = judge(rows, NO_WINDOWS, threshold_kg=0.5).scores.iloc[0]
    assert scores["loss"] == pytest.approx(4.9 / 7)
    assert scores["mae"] == 1.5 and scores["bias"] == -1.5
    assert (scores["cover50"], scores["cover80"], scores["cover90"]) == (0, 1, 1)
    assert scores["brier"] == pytest.approx(0.3**2)


def test_rows_that_the_log_does_not_tell_of_are_left_out():
    rows = pd.concat([forecast_rows(range(7), 3.0), forecast_rows(range(7), np.nan, lead=2)])
    assert judge(rows, NO_WINDOWS, 0.5).scores["cases"].sum() == 1


def test_totals_follow_spans_from_the_issue_date_without_a_gap():
    """1 kg on the first day, 3 kg over the next two, nothing known after: totals 1, -, 4, -."""
    spans = pd.DataFrame(
        {"days": [1.0, 2.0, 1.0], "gain_kg": [1.0, 3.0, 9.0]},
        index=pd.DatetimeIndex(["2024-06-01", "2024-06-02", "2024-06-05"]),
    )
    totals = observed_totals(spans, pd.Timestamp("2024-06-01"), 4)
    assert np.array_equal(totals, [1.0, np.nan, 4.0, np.nan], equal_nan=True)
    assert np.isnan(observed_totals(spans, pd.Timestamp("2024-05-31"), 4)).all()


def test_hives_weighed_on_the_same_days_count_by_their_median():
    spans = pd.DataFrame(
        {"days": [7.0] * 3, "gain_kg": [1.0, 2.0, 9.0]},
        index=pd.DatetimeIndex(["2024-06-01"] * 3),
    )
    assert observed_totals(spans, pd.Timestamp("2024-06-01"), 7)[6] == 2.0


def test_windows_said_and_come_are_counted():
    days = pd.to_datetime(["2024-06-05", "2024-06-09"])
    windows = pd.DataFrame(
        {
            "weather": ["past-years"] * 4,
            "chance": [0.9, 0.8, 0.1, 0.2],
            "start": [days[1], days[1], pd.NaT, pd.NaT],
            "came": [True, False, True, False],
            "came_start": [days[0], pd.NaT, days[0], pd.NaT],
        }
    )
    row = judge(forecast_rows(range(7), 3.0), windows, 0.5).windows.loc["past-years"]
    assert (row["hits"], row["false_alarms"], row["misses"]) == (1, 1, 1)
    assert row["start_error_d"] == 4
    assert row["brier"] == pytest.approx((0.01 + 0.64 + 0.81 + 0.04) / 4)


def test_a_window_open_on_the_issue_date_has_no_start_to_judge():
    open_now = [(pd.Timestamp("2024-05-28"), pd.Timestamp("2024-06-10"))]
    came, start = observed_window(open_now, pd.Timestamp("2024-06-01"), 30)
    assert came and pd.isna(start)
    assert observed_window(open_now, pd.Timestamp("2024-06-11"), 30) == (False, pd.NaT)


# Properties


def test_every_outlook_has_every_lead_day_in_both_modes(found):
    ours = found.forecasts[found.forecasts["forecaster"] == OURS]
    assert len(ours) == len(found.origins) * 2 * 2 * 30
    quantiles = ours[list(QUANTILE_NAMES)].to_numpy()
    assert np.isfinite(quantiles).all() and (np.diff(quantiles, axis=1) >= 0).all()


def test_nothing_from_later_reaches_a_past_outlook(yard, tmp_path):
    """The log and the weather after the last issue date made otherwise: equal forecasts."""
    folder = make_yard(tmp_path)
    cut = pd.Timestamp("2024-07-31 22:00", tz="UTC")  # midnight of 1 August, UTC+2
    weather = plain_weather("2020-01-01")
    weather.loc[weather.index > cut, ["temp_c", "precip_mm"]] = [3.0, 2.0]
    weather.to_csv(folder / "weather.csv")
    log = hive_weights("2023-03-01", "2024-12-31")
    log.loc[log["time"] > cut, "kg"] += np.linspace(0, 30, (log["time"] > cut).sum())
    log.to_csv(folder / "A.csv", index=False)
    one, two = (back(f, modes=("past-years",), every=40) for f in (yard, folder))
    columns = ["issue_date", "forecaster", "lead_day", "target", *QUANTILE_NAMES]
    pd.testing.assert_frame_equal(one.forecasts[columns], two.forecasts[columns])
    late = one.forecasts["observed"] != two.forecasts["observed"]
    assert late.any()  # what came did change


def test_two_processes_give_what_one_gives(yard, found):
    two = back(yard, processes=2)
    pd.testing.assert_frame_equal(two.forecasts, found.forecasts)


# Recovery: a yard whose June flow comes every year is foreseen after one year of log


def test_a_flow_that_comes_every_june_is_foreseen(yard):
    found = back(yard, first="2024-05-20", last="2024-05-20", modes=("past-years",))
    row = found.verdict.windows.loc["past-years"]
    assert (row["came"], row["hits"]) == (1, 1)


# The words, the file, the command


def test_sentences_and_json_say_the_same(found):
    data = backtest_data(found)
    assert data["schema"] == "flowcast-backtest"
    assert data["outlooks"] == len(found.origins)
    assert data["says"] == trust.trust_lines(found)
    assert any("bounds that should hold 80 days of 100 held" in line for line in data["says"])
    json.dumps(data, allow_nan=False)


def test_the_csv_has_the_stated_columns_and_is_never_written_over(found, tmp_path):
    path = trust.write_csv(found, tmp_path / "past.csv")
    table = pd.read_csv(path)
    assert list(table.columns) == [
        "issue_date",
        "lead_day",
        "target",
        "weather",
        *QUANTILE_NAMES,
        "p_flow_day",
        "observed",
    ]
    assert len(table) == len(found.origins) * 2 * 2 * 30
    with pytest.raises(InputError, match="never written over"):
        trust.write_csv(found, path)


def test_the_command_writes_table_and_picture(yard, tmp_path):
    asked = ["--from", "2024-05-01", "--to", "2024-07-01", "--every", "60"]
    asked += ["--weather", "past-years"]
    files = ["--csv", str(tmp_path / "past.csv"), "--picture", str(tmp_path / "said.svg")]
    done = CliRunner().invoke(app, ["backtest", str(yard), *asked, *files])
    assert done.exit_code == 0, done.output
    assert "past outlooks against what came" in done.output
    svg = (tmp_path / "said.svg").read_text("utf-8")
    assert ElementTree.fromstring(svg).tag.endswith(
        "svg"
    )  # well formed, so that a browser shows it
    assert "as said" in svg
    again = CliRunner().invoke(app, ["backtest", str(yard), *asked, *files])
    assert "never written over" in str(again.exception)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"modes": ("sun",)}, "known are past-years, observed"),
        ({"horizon": 91}, "--horizon 1 to 90"),
        ({"first": "2026-01-01", "last": None}, "too short"),
    ],
)
def test_what_cannot_be_asked_is_said(yard, more, said):
    with pytest.raises((InputError, NotEnoughDataError), match=said):
        back(yard, **more)


def test_a_yard_weighed_by_hand_is_judged_from_weighing_to_weighing(tmp_path):
    folder = make_yard(tmp_path)
    log = hive_weights("2023-03-01", "2024-12-31")
    log[log["time"].dt.hour == 20][::7].to_csv(folder / "A.csv", index=False)
    found = back(folder, modes=("past-years",))
    known = found.forecasts[found.forecasts["observed"].notna()]
    assert set(known["target"]) == {"total"}
    assert set(known["lead_day"]) <= {7, 14, 21, 28}
    starts = found.record.spans.index
    assert found.origins.isin(starts).all()
    lines = trust.trust_lines(found)
    assert any("totals from weighing to weighing" in line for line in lines)
    assert "no daily gains" in draw_alone("r", lambda f: draw_reliability(f, found), (4, 4))
    json.dumps(backtest_data(found), allow_nan=False)


def test_a_yard_without_a_log_has_nothing_to_compare_with(tmp_path):
    head = (
        '[yard]\nname = "Test (invented)"\nlatitude = 48.6\nlongitude = 15.3\nelevation_m = 300\n'
    )
    (tmp_path / "yard.toml").write_text(head, "utf-8")
    plain_weather("2022-01-01").to_csv(tmp_path / "weather.csv")
    with pytest.raises(NotEnoughDataError, match="nothing to compare with"):
        pipeline.backtest(tmp_path)
