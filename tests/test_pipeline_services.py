"""A yard whose weather comes from services, end to end, against loopback servers of the true shapes.

Expected sizes of effects are worked by hand beside each test; the servers' weather is invented.
"""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from conftest import plain_weather
from loopback import Station, WeatherServers, invented_weather
from typer.testing import CliRunner

from flowcast import pipeline
from flowcast.cli import app
from flowcast.errors import InputError, NotEnoughDataError, SourceUnavailable
from flowcast.report import page, screen
from flowcast.report.basis import basis
from flowcast.report.data import outlook_data, pulled_data

TODAY = "2026-05-20"
NOW = pd.Timestamp(f"{TODAY} 07:30", tz="UTC")
CONTACT, KEY = "keeper@example.org", "k3y-0f-n0b0dy"

YARD = """\
[yard]
name = "Loopback (invented)"
latitude = {latitude}
longitude = {longitude}
elevation_m = 210
[[forage]]
name = "lime"
from = "06-05"
to = "07-05"
strength = "heavy"
[numbers]
service.history_years = {years}
service.retries = 0
[weather]
contact = "{contact}"
{more}
[weather.urls]
{urls}
"""


@pytest.fixture
def online(monkeypatch):
    """Services may be asked, on this machine."""
    monkeypatch.setenv("FLOWCAST_OFFLINE", "0")


@pytest.fixture
def servers(online):
    with WeatherServers(today=TODAY) as running:
        yield running


def write(folder, servers, more="", latitude=48.6, longitude=15.3, years=3):
    urls = "\n".join(f'"{name}" = "{url}"' for name, url in servers.urls().items())
    told = {"latitude": latitude, "longitude": longitude, "contact": CONTACT, "years": years}
    text = YARD.format(more=more, urls=urls, **told)
    (folder / "yard.toml").write_text(text, "utf-8")
    return folder


def reach(now=NOW, **more):
    return pipeline.Reach(now=now, sleep=lambda seconds: None, **more)


def outlook(folder, now=NOW, as_of=None, **more):
    return pipeline.outlook(folder, as_of=as_of, scenarios=200, reach=reach(now, **more))


def without_addresses(found):
    """The JSON with the loopback port taken out."""
    data = outlook_data(found)
    for part in [*data["weather"]["parts"], data["weather"]["forecast"] or {}]:
        part.pop("url", None)
    return json.dumps(data)


# Hand-worked


def test_a_pull_asks_each_year_once_and_a_second_pull_asks_nothing(tmp_path, servers):
    """Three calendar years, the last weeks, the ensemble: 5; the list of stations and one file: 2."""
    write(tmp_path, servers)
    servers.stations = [Station("S1", "Near", "AT", "", 48.7, 15.3, 210, range(2020, 2027))]
    first = pipeline.pull(tmp_path, reach=reach())
    assert sum(first.asked.values()) == servers.count() == 7
    again = pipeline.pull(tmp_path, reach=reach())
    assert sum(again.asked.values()) == 0
    assert servers.count() == 7
    assert any("Nothing was asked" in line for line in pulled_data(again)["understood"])


def test_what_was_pulled_serves_offline(tmp_path, servers):
    write(tmp_path, servers)
    online = outlook(tmp_path)
    asked = servers.count()
    offline = outlook(tmp_path, offline=True)
    assert servers.count() == asked
    assert without_addresses(online) == without_addresses(offline)


def test_nothing_pulled_and_offline_is_one_line(tmp_path, servers):
    write(tmp_path, servers)
    with pytest.raises(SourceUnavailable, match="no weather was pulled before") as caught:
        outlook(tmp_path, offline=True)
    assert "\n" not in str(caught.value)
    assert servers.count() == 0


def test_the_outlook_is_of_today_and_follows_the_ensemble(tmp_path, servers):
    found = outlook(write(tmp_path, servers))
    assert found.outlook.issue_date == pd.Timestamp(TODAY)
    assert found.record.daily.index[-1] == pd.Timestamp(TODAY) - pd.Timedelta(days=1)
    assert len(found.record.forecast.members) == 51
    followed = found.outlook.scenarios.followed_d
    assert (followed.min(), followed.max()) == (9, 15)  # flow.join_from_d, and the model's last day
    assert any("51 members" in line and "9 to 15 days" in line for line in basis(found))


def test_every_block_and_column_says_where_it_is_from(tmp_path, servers):
    data = outlook_data(outlook(write(tmp_path, servers)))["weather"]
    assert [part["service"] for part in data["parts"]] == [
        "Open-Meteo archive",
        "Open-Meteo forecast",
    ]
    for part in [*data["parts"], data["forecast"]]:
        assert part["model"] and part["url"] and part["retrieved_at"] and part["cell"]["latitude"]
        assert part["licence"] == "CC BY 4.0" and "Open-Meteo.com" in part["attribution"]
    assert data["forecast"]["members"] == 51
    for name, column in data["columns"].items():
        assert column["given"] + column["filled"] + column["missing"] == pytest.approx(1, abs=1e-3)
        assert column["from"] or column["given"] == 0, name
    assert data["columns"]["ghi_wm2"]["given"] == 1
    assert "shortwave_radiation" in data["columns"]["ghi_wm2"]["from"]


def test_licences_are_told_on_screen_and_page(tmp_path, servers):
    found = outlook(write(tmp_path, servers))
    html = page.render_page(found)
    assert '<a href="https://open-meteo.com/">Weather data by Open-Meteo.com' in html
    assert "Where the weather is from" in html
    assert "NASA" not in html and "ecmwf_ifs025_ensemble), 51 members" in html
    assert "shortwave_radiation, W/m²" in html
    for text in (html, screen.outlook_text(found).replace("\n", " ")):
        assert "Copernicus Climate Change Service" in text


def test_neither_contact_nor_key_is_ever_shown_or_kept(tmp_path, servers, monkeypatch, caplog):
    monkeypatch.setenv("FLOWCAST_OPEN_METEO_KEY", KEY)
    caplog.set_level("DEBUG")
    found = outlook(write(tmp_path, servers))
    pulled = pipeline.pull(tmp_path, reach=reach())
    shown = [
        page.render_page(found),
        screen.outlook_text(found),
        screen.pulled_text(pulled),
        without_addresses(found),
        json.dumps(pulled_data(pulled)),
        caplog.text,
    ]
    import os
    from pathlib import Path

    kept = b"".join(p.read_bytes() for p in Path(os.environ["FLOWCAST_CACHE"]).glob("*"))
    assert len(kept) > 10_000
    for secret in (CONTACT, KEY):
        assert all(secret not in text for text in shown)
        assert secret.encode() not in kept
    assert any(CONTACT in asked.headers["user-agent"] for asked in servers.requests)


def test_the_free_host_is_not_asked_for_commercial_use_without_a_key(tmp_path, online):
    (tmp_path / "yard.toml").write_text(
        '[yard]\nname = "Shop"\nlatitude = 48.6\nlongitude = 15.3\n[weather]\ncommercial = true\n'
        'services = ["open-meteo"]\n',
        "utf-8",
    )
    with pytest.raises(SourceUnavailable, match="non-commercial use only"):
        outlook(tmp_path)


@pytest.mark.parametrize(
    ("services", "said"),
    [('["open-metteo archive"]', "Did you mean 'Open-Meteo archive'"), ('["sky"]', "Known: ")],
)
def test_an_unknown_service_is_named_with_the_cure(tmp_path, servers, services, said):
    with pytest.raises(InputError, match=said):
        outlook(write(tmp_path, servers, f"services = {services}"))


def test_a_yard_that_asks_no_service_needs_a_file(tmp_path, servers):
    with pytest.raises(SourceUnavailable, match=r"Put weather\.csv in the folder"):
        outlook(write(tmp_path, servers, "services = []"))
    assert servers.count() == 0


# Failing services


def test_when_the_archive_is_dead_the_next_history_takes_over_and_says_so(tmp_path, servers):
    write(tmp_path, servers)
    servers.faults["open-meteo archive"] = ["refuse"] * 9
    found = outlook(tmp_path)
    services = [part.origin.service for part in found.record.parts]
    assert services[0] == "NASA POWER" and "Open-Meteo archive" not in services
    assert servers.count("open-meteo archive") == 1  # not once more for every year
    assert any("Open-Meteo archive" in str(note) for note in found.record.notes)


def test_when_no_ensemble_answers_one_run_is_followed_less_and_less(tmp_path, servers):
    """Half of the futures have left a single run by flow.point_half_d = 6 days."""
    write(tmp_path, servers)
    servers.faults["open-meteo ensemble"] = [("status", 503)] * 9
    found = outlook(tmp_path)
    assert found.record.forecast.origin.service == "MET Norway"
    followed = found.outlook.scenarios.followed_d
    assert np.median(followed) == pytest.approx(6, abs=1)
    assert followed.min() == 1


def test_without_any_forecast_past_years_stand_ahead_and_it_is_said(tmp_path, servers):
    write(tmp_path, servers)
    for service in ("open-meteo ensemble", "open-meteo forecast", "met norway"):
        servers.faults[service] = [("status", 500)] * 9
    found = outlook(tmp_path)
    assert found.record.forecast is None
    text = " ".join(basis(found))
    assert "No weather forecast is used" in text
    # The archive ends six days before today and nothing bridges them.
    assert "The last 5 days before the issue date have no weather" in text


def test_stations_bridge_the_last_days_when_no_forecast_answers(tmp_path, servers):
    write(tmp_path, servers)
    servers.stations = [Station("S1", "Near", "AT", "", 48.7, 15.3, 210, range(2020, 2027))]
    for service in ("open-meteo ensemble", "open-meteo forecast", "met norway"):
        servers.faults[service] = [("status", 500)] * 9
    found = outlook(tmp_path)
    assert found.record.parts[-1].origin.service == "Meteostat"
    assert found.record.daily.index[-1] >= pd.Timestamp("2026-05-17")


def test_old_answers_serve_with_their_age_and_cover_the_days_since(tmp_path, servers):
    """Pulled on the 20th, offline on the 24th: the ensemble runs through the four days since."""
    outlook(write(tmp_path, servers))
    later = NOW + pd.Timedelta(days=4)
    found = outlook(tmp_path, now=later, offline=True)
    assert found.outlook.issue_date == pd.Timestamp("2026-05-24")
    assert found.record.forecast.origin.stale
    text = " ".join(basis(found))
    assert "pulled 4 days ago and older than it should be" in text
    assert found.outlook.scenarios.followed_d.max() == 15 - 4


def test_very_old_answers_give_the_outlook_of_their_own_day_and_say_so(tmp_path, servers):
    outlook(write(tmp_path, servers))
    found = outlook(tmp_path, now=NOW + pd.Timedelta(days=60), offline=True)
    assert found.outlook.issue_date == pd.Timestamp(TODAY)
    assert any("60 days old" in str(note) for note in found.record.notes)


# One climate


def test_the_last_days_and_the_ensemble_are_put_on_the_climate_of_the_history(tmp_path, servers):
    """Forecast 3 °C, ensemble 5 °C too warm: without correction the mean of the days would be."""
    plain = outlook(write(tmp_path, servers))
    bias = {"open-meteo forecast": {"temp_c": 3.0}, "open-meteo ensemble": {"temp_c": 5.0}}
    servers.bias.update(bias)
    mended = outlook(tmp_path, refresh=True)
    past = (
        mended.record.daily["temp_mean_c"].iloc[-5:] - plain.record.daily["temp_mean_c"].iloc[-5:]
    )
    assert np.abs(past).max() < 0.3
    ahead = [
        np.mean([m["temp_mean_c"].iloc[:9].mean() for m in found.record.forecast.members])
        for found in (plain, mended)
    ]
    # Three days in common against align.trust_d = 1 leave a quarter of 5 °C.
    assert ahead[1] - ahead[0] == pytest.approx(5 / 4, abs=0.3)
    assert any(
        "temperature −3.0 °C" in str(c) for p in mended.record.parts for c in p.origin.corrections
    )


def test_the_yards_own_file_stays_as_it_is_and_services_fill_the_rest(tmp_path, servers):
    write(tmp_path, servers, 'services = ["open-meteo"]')
    plain_weather("2025-01-01", "2026-04-30").to_csv(tmp_path / "weather.csv")
    found = outlook(tmp_path)
    services = [part.origin.service for part in found.record.parts]
    assert services[:3] == ["Open-Meteo archive", "the yard's own file", "Open-Meteo archive"]
    own = pd.read_csv(tmp_path / "weather.csv", parse_dates=["time_utc"], index_col="time_utc")
    kept = found.record.weather.hourly.loc[own.index, "temp_c"]
    assert np.abs(kept - own["temp_c"]).max() == 0
    corrected = found.record.parts[0].origin.corrections
    assert "month by month" in str(corrected[0])
    assert found.outlook.issue_date == pd.Timestamp(TODAY)


def test_a_station_that_disagrees_widens_the_interval_and_is_said(tmp_path, servers):
    write(tmp_path, servers)
    servers.stations = [Station("S1", "Near", "AT", "", 48.7, 15.3, 210, range(2020, 2027))]
    agreed = outlook(tmp_path)
    servers.bias["meteostat"] = {"temp_c": 4.0}
    apart = outlook(tmp_path, refresh=True)
    assert not agreed.record.station.doubtful
    assert agreed.record.station.temp_bias_c == pytest.approx(0, abs=0.3)
    assert apart.record.station.temp_bias_c == pytest.approx(-4, abs=0.3)
    assert "far apart" in " ".join(basis(apart))
    wide, usual = (
        (f.outlook.total["q90"] - f.outlook.total["q10"]).iloc[29] for f in (apart, agreed)
    )
    assert wide > 1.03 * usual


# Nothing from after the issue date


def test_what_comes_after_the_issue_date_changes_nothing(tmp_path, online):
    """Two worlds alike up to the morning of 10 June 2025, asked a year later."""
    cut = pd.Timestamp("2025-06-09 22:00", tz="UTC")  # midnight in the yard's zone, UTC+2

    def otherwise(latitude, longitude, index):
        table = invented_weather(latitude, longitude, index)
        late = table.index > cut
        table.loc[late, "temp_c"] = 2.0
        table.loc[late, "precip_mm"] = 3.0
        return table

    found = []
    for weather in (invented_weather, otherwise):
        folder = tmp_path / weather.__name__
        folder.mkdir()
        with WeatherServers(weather=weather, today=TODAY) as servers:
            write(folder, servers)
            found.append(without_addresses(outlook(folder, as_of="2025-06-10", refresh=True)))
    assert found[0] == found[1]


def test_a_forecast_made_after_the_issue_date_is_not_used(tmp_path, servers):
    write(tmp_path, servers)
    pipeline.pull(tmp_path, reach=reach())
    sources = pipeline.read_sources(tmp_path, reach())
    assert sources.ahead is not None
    before = pipeline.known_before(sources, pd.Timestamp(TODAY) - pd.Timedelta(days=1))
    assert before.forecast is None
    assert pipeline.known_before(sources, pd.Timestamp(TODAY)).forecast is not None


def test_hours_that_were_forecast_when_pulled_are_no_record(tmp_path, servers):
    write(tmp_path, servers)
    pipeline.pull(tmp_path, reach=reach())
    later = pipeline.read_sources(tmp_path, reach(NOW + pd.Timedelta(days=3), offline=True))
    record = pipeline.known_before(later, pd.Timestamp(TODAY) + pd.Timedelta(days=3))
    assert record.weather.hourly.index[-1] <= NOW


# Properties


@pytest.mark.parametrize(
    ("latitude", "longitude"), [(48.6, 15.3), (-41.3, 174.8), (21.3, -157.8), (64.1, -51.7)]
)
@pytest.mark.parametrize("hour", [0, 9, 19])
def test_the_first_day_ahead_is_the_issue_date_anywhere_at_any_hour(
    tmp_path, servers, latitude, longitude, hour
):
    """East and west of Greenwich the local day begins before or after the ensemble's UTC day."""
    write(tmp_path, servers, latitude=latitude, longitude=longitude)
    now = pd.Timestamp(f"{TODAY} {hour:02d}:20", tz="UTC")
    found = outlook(tmp_path, now=now)
    zone = found.record.yard.place.timezone
    assert found.outlook.issue_date == now.tz_convert(zone).tz_localize(None).normalize()
    assert found.record.forecast.members[0].index[0] == found.record.daily.index[-1] + pd.Timedelta(
        days=1
    )
    assert found.outlook.scenarios.dates[0] == found.outlook.issue_date
    assert found.record.forecast.days >= 13


def test_the_spread_of_weather_grows_into_that_of_past_years_without_a_jump(tmp_path, servers):
    """10-90 % width of a week's foraging hours from lead day 1 on, over that of past years alone.

    The servers' members start alike and grow apart; the handing over begins at day 9. No step of a
    day may be more than a quarter of the past years' width, and the far end must reach it.
    """
    found = outlook(write(tmp_path, servers, years=12))
    alone = pipeline.outlook_from(replace(found.record, forecast=None), scenarios=400)
    found = pipeline.outlook_from(found.record, scenarios=400)

    def width(which):
        hours = pd.DataFrame(which.outlook.scenarios.foraging_h).T.rolling(7).mean().dropna()
        return (hours.quantile(0.9, axis=1) - hours.quantile(0.1, axis=1)).to_numpy()[:30]

    share = width(found) / width(alone).mean()
    assert np.abs(np.diff(share)).max() < 0.25
    assert share[0] < 0.4
    assert share[-8:].mean() == pytest.approx(1, abs=0.3)


# A place without a folder


def test_a_place_by_coordinates_needs_no_folder(tmp_path, servers, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "weather.csv").write_text("not,this\n1,2\n", "utf-8")
    for name, url in servers.urls().items():
        variable = "FLOWCAST_URL_" + name.upper().replace(" ", "_").replace("-", "_")
        monkeypatch.setenv(variable, url)
    found = pipeline.outlook(at="-33.9 151.2", scenarios=200, reach=reach())
    first = screen.outlook_text(found).split("\n\n")[0].replace("\n", " ")
    assert first.startswith("33.9° S, 151.2° E: outlook of 20 May 2026")
    assert "from weather, climate and prior alone" in first
    named = pipeline.outlook(at="Exampleville, Tuscany", scenarios=200, reach=reach())
    assert named.record.yard.name.startswith("Exampleville, Tuscany")
    assert named.record.yard.place.elevation_m == 310
    with pytest.raises(InputError, match=r"Lombardy.*Tuscany.*Tasmania") as caught:
        pipeline.outlook(at="Exampleville", reach=reach())
    assert "\n" not in str(caught.value)
    with pytest.raises(InputError, match="no place called"):
        pipeline.outlook(at="Nowhereton", reach=reach())
    with pytest.raises(InputError, match="lies in the sea"):
        pipeline.outlook(at="0.0 -30.0", reach=reach())


def test_beetles_dates_and_a_season_of_a_place(tmp_path, servers, monkeypatch):
    """A place has no keeper to say whether beetles live there, and no scale."""
    for name, url in servers.urls().items():
        variable = "FLOWCAST_URL_" + name.upper().replace(" ", "_").replace("-", "_")
        monkeypatch.setenv(variable, url)
    here = "-33.9 151.2"
    beetles = pipeline.beetles(at=here, draws=60, reach=reach())
    said = " ".join(screen.beetles_text(beetles).split())
    assert "Do small hive beetles live here?" in said
    assert "established in Australia" in said
    assert beetles.outlook.traits.seam_shift_c.any()  # the archive gives the soil's temperature
    assert beetles.outlook.weather  # the ensemble's runs end in past years
    dates = pipeline.timing(at=here, scenarios=100, reach=reach())
    told = " ".join(screen.timing_text(dates).split())
    assert "no yard, no log and no stated bloom" in told
    assert dates.hives == ()
    past = pipeline.explain(at=here, reach=reach())
    told = " ".join(screen.season_text(past).split())
    assert "2024/25" in told
    assert "No scale tells of this time, so nothing is said of weights." in told


# The command line


@pytest.fixture
def run(monkeypatch):
    def call(*arguments):
        return CliRunner().invoke(app, list(map(str, arguments)))

    return call


def test_pull_says_what_there_is_and_what_the_outlook_will_do(tmp_path, servers, run, monkeypatch):
    real = pipeline.Reach
    monkeypatch.setattr(
        pipeline, "Reach", lambda **more: real(now=NOW, sleep=lambda s: None, **more)
    )
    write(tmp_path, servers)
    done = run("pull", tmp_path, "--from", "2023-03-01")
    assert done.exit_code == 0, done.output
    said = " ".join(done.output.split())
    assert "1 January 2023 to 19 May 2026: " in said
    assert "0 days missing" in said
    assert "Days ahead: Open-Meteo ensemble (ecmwf_ifs025_ensemble), 51 members" in said
    assert "requests made" in said
    data = json.loads(run("pull", tmp_path, "--offline", "--json").output)
    assert data["schema"] == "flowcast-pull"
    assert data["asked"] == {}


def test_two_numbers_behind_at_are_a_place_minus_signs_and_all(run):
    done = run("outlook", "--at", "-33.9", "-70.6", "--offline")
    assert done.exit_code == 1
    assert "33.9° S, 70.6° W: no weather was pulled before" in str(done.exception)
    # A place has no folder to put a file into.
    assert "make a yard of the place with flowcast new" in str(done.exception)


def test_a_yard_and_a_place_together_are_a_question_not_understood(run, tmp_path):
    for arguments in (["outlook"], ["outlook", tmp_path, "--at", "48.2 16.4"]):
        assert run(*arguments).exit_code == 2


def test_dates_the_wrong_way_round_are_said(run, tmp_path):
    done = run("pull", tmp_path, "--from", "2024-01-01", "--to", "2023-01-01")
    assert "lies after --to" in str(done.exception)


def test_pull_of_a_yard_with_its_own_file_says_how_to_add_services(tmp_path, servers):
    write(tmp_path, servers)
    plain_weather("2024-01-01", "2024-12-31").to_csv(tmp_path / "weather.csv")
    with pytest.raises(SourceUnavailable, match="asks no service"):
        pipeline.pull(tmp_path, reach=reach())
    with pytest.raises(NotEnoughDataError):
        outlook(tmp_path, as_of="2026-05-20")
