"""Every way a weather server can fail: one sentence, exit code 3, nothing lost, nothing false kept.

Status codes: PVGIS documents 429 for more than 30 calls a second and 529 when overloaded;
Retry-After is RFC 9110 section 10.2.3 (seconds or a date).
"""

import json
import socket
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime

import pytest

from offgrid_sim.errors import WeatherUnavailable
from offgrid_sim.weather.archive import SERVICES, held_years
from offgrid_sim.weather.archive.asked import PlaceYear
from offgrid_sim.weather.archive.fetch import fetch, wanted_years
from offgrid_sim.weather.archive.store import ArchiveCache
from offgrid_sim.weather.archive.web import ArchiveFaultError, Web
from offgrid_sim.weather.table import Place

HERE = Place("Torla", 42.63, -0.11, 1030.0)
PVGIS, POWER = SERVICES["pvgis"], SERVICES["power"]


@pytest.fixture
def cache(tmp_path):
    return ArchiveCache(tmp_path / "archive", 10_000_000)


class Fetcher:
    """Fetches with recorded instead of real pauses."""

    def __init__(self, cache, url):
        self.cache, self.url, self.slept = cache, url, []

    def ask(self, service=PVGIS, year=2015, refresh=False, timeout_s=5.0):
        asked = PlaceYear.at(service.archive, HERE, year)
        with Web(self.cache, timeout_s, self.slept.append) as web:
            return web.ask(service.question(asked, self.url), refresh)

    def fault(self, **options):
        with pytest.raises(ArchiveFaultError) as caught:
            self.ask(**options)
        assert caught.value.exit_code == 3
        assert isinstance(caught.value, WeatherUnavailable)
        sentence = str(caught.value)
        assert "\n" not in sentence
        assert sentence.endswith("later.")
        return caught.value


@pytest.fixture
def fetcher(cache, archive_server):
    return Fetcher(cache, archive_server.url)


def status(code, text="", **headers):
    return lambda handler: handler.reply(code, text, **headers)


def altered(change):
    """The right answer with its parsed content changed in place."""

    def fault(handler):
        content = json.loads(handler.text)
        change(content)
        handler.reply(200, json.dumps(content))

    return fault


def cut(handler):
    handler.reply(200, handler.text[: len(handler.text) // 2], length=len(handler.text))
    handler.close_connection = True


def cut_without_length(handler):
    handler.send_response(200)
    handler.send_header("Content-Type", "application/json")
    handler.send_header("Connection", "close")
    handler.end_headers()
    handler.wfile.write(handler.text[: len(handler.text) // 2].encode())
    handler.close_connection = True


@pytest.mark.parametrize("service", [PVGIS, POWER], ids=["pvgis", "power"])
def test_one_question_is_asked_once(fetcher, archive_server, service):
    assert fetcher.ask(service) is True
    assert fetcher.ask(service) is False
    assert len(archive_server.asked) == 1


def test_the_questions_are_those_the_archives_document(fetcher, archive_server):
    fetcher.ask(PVGIS)
    fetcher.ask(POWER, 2016)
    (path, query), (power_path, power_query) = archive_server.asked
    assert path == "/api/v5_3/seriescalc"  # the version is pinned
    assert (query["lat"], query["lon"], query["components"]) == ("42.63", "-0.11", "1")
    assert (query["startyear"], query["endyear"], query["angle"]) == ("2015", "2015", "0")
    assert power_path == "/api/temporal/hourly/point"
    assert (power_query["start"], power_query["end"]) == ("20160101", "20161231")
    assert power_query["time-standard"] == "UTC"
    assert power_query["community"] == "RE"


@pytest.mark.parametrize("code", [429, 500, 502, 503, 504, 529])
def test_trouble_that_passes_is_waited_out(fetcher, archive_server, code):
    archive_server.faults = [status(code), status(code)]
    assert fetcher.ask() is True
    assert fetcher.slept[:2] == [1.0, 2.0]


def test_trouble_that_stays_ends_in_words_and_keeps_nothing(fetcher, archive_server, cache):
    archive_server.always = status(500, '{"message": "no"}')
    fault = fetcher.fault()
    assert "HTTP 500" in str(fault)
    assert len(archive_server.asked) == 4
    assert held_years(cache) == []


def test_retry_after_in_seconds_and_as_a_date_is_honoured(fetcher, archive_server):
    soon = format_datetime(datetime.now(UTC) + timedelta(seconds=20), usegmt=True)
    archive_server.faults = [status(429, Retry_After="7"), status(429, Retry_After=soon)]
    assert fetcher.ask() is True
    assert fetcher.slept[0] == 7.0
    assert 15.0 < fetcher.slept[1] <= 20.0


def test_a_server_that_wants_an_hour_is_left_alone(fetcher, archive_server):
    archive_server.always = status(429, Retry_After="3600")
    assert "60 min" in str(fetcher.fault())
    assert fetcher.slept == []
    assert len(archive_server.asked) == 1


@pytest.mark.parametrize("how", [cut, cut_without_length])
def test_an_answer_cut_in_the_middle_is_asked_for_again(fetcher, archive_server, cache, how):
    archive_server.faults = [how]
    assert fetcher.ask() is True
    assert json.loads(cache.text(held_years(cache)[0].key))["outputs"]


@pytest.mark.parametrize("how", [cut, cut_without_length])
def test_answers_always_cut_are_not_kept(fetcher, archive_server, cache, how):
    archive_server.always = how
    assert fetcher.fault().kind == "ailing"
    assert held_years(cache) == []


def test_a_trickle_cannot_hold_the_user_up(fetcher, archive_server, cache):
    archive_server.always = lambda handler: handler.trickle(0.05, 100)
    fault = fetcher.fault(timeout_s=0.2)
    assert "0.2 s" in str(fault)
    assert "--timeout" in str(fault)
    assert len(archive_server.asked) == 2
    assert held_years(cache) == []


def test_a_web_page_is_not_data(fetcher, archive_server, cache):
    page = "<!DOCTYPE html><html><body>Please sign in</body></html>"
    archive_server.always = status(200, page, kind="text/html")
    assert "web page" in str(fetcher.fault())
    assert len(archive_server.asked) == 1
    assert held_years(cache) == []


def test_a_redirect_to_a_sign_in_page_is_not_data(fetcher, archive_server, cache):
    away = f"{archive_server.url}/seriescalc?lat=1&lon=1&startyear=2015&endyear=2015"
    page = status(200, "<html>sign in</html>", kind="text/html")
    archive_server.faults = [
        status(302, Location=f"{away}&angle=0&usehorizon=0"),
        page,
    ]
    assert "web page" in str(fetcher.fault())
    assert held_years(cache) == []


@pytest.mark.parametrize("service", [PVGIS, POWER], ids=["pvgis", "power"])
def test_the_servers_own_words_are_passed_on(fetcher, archive_server, service):
    words = "Location over the sea. Please, select another location"
    archive_server.always = status(400, json.dumps({"message": words, "messages": [words]}))
    fault = fetcher.fault(service=service)
    assert words in str(fault)
    assert fault.kind == "refused"
    assert len(archive_server.asked) == 1


def test_other_json_is_not_weather(fetcher, archive_server, cache):
    archive_server.always = status(200, '{"status": "down for maintenance"}')
    for service in (PVGIS, POWER):
        assert "not usable" in str(fetcher.fault(service=service))
    assert held_years(cache) == []


def test_another_year_than_asked_is_not_kept(fetcher, archive_server, cache):
    def of_another_year(content):
        for row in content["outputs"]["hourly"]:
            row["time"] = "2014" + row["time"][4:]

    archive_server.always = altered(of_another_year)
    assert "8760 of the year's 8760 hours" in str(fetcher.fault())
    assert held_years(cache) == []


def test_no_network_and_no_such_host(cache, monkeypatch):
    def no_name(*args, **kwargs):
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", no_name)
    fetcher = Fetcher(cache, "http://weather.invalid")
    assert "weather.invalid cannot be found" in str(fetcher.fault())


def test_nobody_listens(cache):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    assert "cannot be reached" in str(Fetcher(cache, f"http://127.0.0.1:{port}").fault())


def pvgis_gap(hours, value):
    def change(content):
        for row in content["outputs"]["hourly"][4000 : 4000 + hours]:
            row["T2m"] = value

    return change


def power_gap(hours, value):
    def change(content):
        for series in content["properties"]["parameter"].values():
            for stamp in list(series)[4000 : 4000 + hours]:
                series[stamp] = value

    return change


@pytest.mark.parametrize("mark", [-999.0, -99.0])
def test_short_gaps_are_mended_and_long_ones_refused(fetcher, archive_server, cache, mark):
    archive_server.faults = [altered(pvgis_gap(3, mark))]
    assert fetcher.ask() is True
    archive_server.faults = [altered(pvgis_gap(4, mark))]
    assert "4 hours are missing" in str(fetcher.fault(refresh=True))
    assert len(held_years(cache)) == 1  # the good one from before is still there


def test_power_gaps_and_years_not_yet_complete(fetcher, archive_server, cache):
    archive_server.faults = [altered(power_gap(3, -999.0))]
    assert fetcher.ask(POWER) is True
    archive_server.faults = [altered(power_gap(40, -999.0))]
    assert "40 hours are missing" in str(fetcher.fault(service=POWER, refresh=True))
    archive_server.faults = [altered(power_gap(6000, -999.0))]  # the year's end is to come
    assert "4760 of the year's 8760 hours" in str(fetcher.fault(service=POWER, refresh=True))
    assert len(held_years(cache)) == 1


def test_power_in_other_units_or_local_time_is_refused(fetcher, archive_server):
    def mega_joule(content):
        content["parameters"]["ALLSKY_SFC_SW_DWN"]["units"] = "MJ/hr"

    def solar_time(content):
        content["header"]["time_standard"] = "LST"

    archive_server.faults = [altered(mega_joule), altered(solar_time)]
    assert "MJ/hr" in str(fetcher.fault(service=POWER))
    assert "LST" in str(fetcher.fault(service=POWER))


def test_refresh_that_fails_keeps_the_old(fetcher, archive_server, cache):
    fetcher.ask()
    before = cache.text(held_years(cache)[0].key)
    for fault in (status(500), status(404), cut, status(200, "<html>", kind="text/html")):
        archive_server.always = fault
        fetcher.fault(refresh=True)
        assert cache.text(held_years(cache)[0].key) == before


def test_the_server_gone_after_one_fetch_is_not_missed(fetcher, archive_server):
    assert fetcher.ask() is True
    archive_server.stop()
    assert fetcher.ask() is False


# ---------------------------------------------------------------- many years


def bring(fetcher, years, service=PVGIS):
    wanted = wanted_years(service, [HERE, HERE], years, (0,))
    with Web(fetcher.cache, 5.0, fetcher.slept.append) as web:
        return fetch(service, wanted, fetcher.cache, web, fetcher.url)


def test_a_fetch_goes_on_where_it_stopped(fetcher, archive_server):
    archive_server.faults = [None, status(403)]
    first = bring(fetcher, (2013, 2014, 2015))
    assert (first.wanted, first.fetched, first.unasked) == (3, 1, 1)
    assert "HTTP 403" in first.missing[0].reason
    second = bring(fetcher, (2013, 2014, 2015))
    assert (second.already, second.fetched, second.missing) == (1, 2, ())
    assert [query["startyear"] for _, query in archive_server.asked] == [
        "2013", "2014", "2014", "2015",
    ]  # fmt: skip


def test_a_year_the_server_refuses_does_not_stop_the_others(fetcher, archive_server):
    archive_server.faults = [None, status(400, '{"message": "startyear: Incorrect value."}')]
    done = bring(fetcher, (2013, 2014, 2015))
    assert (done.fetched, done.unasked) == (2, 0)
    assert [missing.asked.year for missing in done.missing] == [2014]


def test_an_ailing_server_is_left_alone_after_two_failures(fetcher, archive_server):
    archive_server.always = status(503)
    done = bring(fetcher, (2012, 2013, 2014, 2015))
    assert (len(done.missing), done.unasked) == (2, 2)
