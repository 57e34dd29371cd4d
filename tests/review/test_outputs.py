"""What leaves the desk: follow-up packs, the periodic report, and the commands around them."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from datetime import date
from html import unescape
from shutil import copytree

import httpx2
import pypdf
import pytest

from loganalyze.cli import main
from loganalyze.review.application.desk_forms import PeriodQuery, RevealForm
from loganalyze.review.decisions.trail_entries import Actor
from loganalyze.review.outputs import case_report
from loganalyze.text.language import desk_labels, period_words
from tests.fleet.conftest import ROOT, SHEET
from tests.review.conftest import Office

OWNER = Actor("owner", "owner")
WHY = "the captain is to be asked"


def pack(browser, key, reader, form="html", **more):
    return browser.post(f"/api/cases/{key}/pack", json={"reader": reader, "format": form, **more})


def follow_up(browser, key, kind, task, due="2031-07-01"):
    assert browser.post(f"/api/cases/{key}/follow-ups", json={
        "kind": kind, "owner": "kim", "due": due, "task": task}).status_code == 200


@pytest.fixture
def worked(office) -> Office:
    """A desk with a decision and a follow-up for each reader."""
    browser = office.person("anne", "reviewer")
    follow_up(browser, office.key, "crew contact", "ask how it came <b>")
    follow_up(browser, office.key, "inspection requested", "look at the doors")
    browser.post(f"/api/cases/{office.key}/decision", json={
        "decision": "valid", "reason": "confirmed by both sources", "seen_version": 2})
    return office


def test_each_reader_gets_what_they_are_asked_and_no_more(worked):
    browser = worked.person("anne", "reviewer")
    said = {reader: unescape(pack(browser, worked.key, reader).text)
            for reader in ("safety", "crew", "maintenance")}
    assert all("VMO" in text and "17.0 kt" in text for text in said.values())
    asked = {reader: ("ask how it came" in text, "look at the doors" in text,
                      "confirmed by both" in text) for reader, text in said.items()}
    assert asked == {"safety": (True, True, True), "crew": (True, False, False),
                     "maintenance": (False, True, False)}
    assert "Not for punitive use" in said["crew"]
    assert "<b>" not in pack(browser, worked.key, "crew").text


@pytest.mark.parametrize("reader", ["safety", "crew", "maintenance"])
def test_a_pack_is_a_pdf_with_its_picture(worked, reader):
    found = pack(worked.person("anne", "reviewer"), worked.key, reader, "pdf")
    assert found.headers["content-disposition"] == 'attachment; filename="follow-up.pdf"'
    assert found.headers["content-type"] == "application/pdf"
    pages = pypdf.PdfReader(io.BytesIO(found.content)).pages
    text = "".join(page.extract_text() for page in pages)
    assert worked.key[:8] in text
    assert sum(len(page.images) for page in pages) == 1


def test_the_picture_of_a_mach_limit_is_drawn_in_mach():
    samples = {"time_s": [100.0, 101.0, 102.0], "mach": [0.47, 0.48, None],
               "margin_mach": [0.01, -0.002, None], "calibrated_airspeed_kt": [240.0, 245.0, 250.0],
               "limit_airspeed_kt": [245.0, 244.0, 243.0], "margin_kt": [5.0, -1.0, -7.0],
               "pressure_altitude_ft": [20000.0, 19900.0, 19800.0],
               "second_airspeed_kt": [240.0, 245.0, 250.0],
               "second_airspeed_by": ["calibrated_airspeed_2"] * 3}
    for in_mach, limit, axis in ((True, [0.48, 0.478], "Mach"), (False, [245, 244, 243], "kt")):
        figure = case_report.case_figure(samples, 101.0, 101.5, in_mach=in_mach)
        speed, margin, _ = figure.axes
        value, dashed, second = (line.get_ydata() for line in speed.lines)
        assert dashed[:len(limit)] == pytest.approx(limit)
        assert list(speed.lines[0].get_xdata()) == [-1.0, 0.0, 1.0]
        assert margin.lines[0].get_ydata()[1] == samples[f"margin_{axis.lower()}"][1]
        assert axis in speed.get_ylabel()
        assert axis in margin.get_ylabel()
        # 240 kt CAS at 20,000 ft: Mach .5257 by the pitot law at 46,563 Pa (ISO 2533).
        assert second[0] == pytest.approx(0.5257 if in_mach else 240.0, abs=5e-5)
        assert value[0] == (0.47 if in_mach else 240.0)


@pytest.mark.parametrize(("found", "said"), [
    (0.0, "0.0 s"), (0.04, "< 0.1 s"), (0.05, "0.1 s"), (9.96, "10.0 s"), (78.9, "79 s")])
def test_a_duration_of_less_than_a_tenth_is_no_zero(found, said):
    assert desk_labels.seconds(found) == said


def test_a_pack_names_nobody_unless_a_gatekeeper_says_why(worked):
    identity = worked.desk.reveal(OWNER, worked.key, RevealForm(reason=WHY))
    secrets = (identity.registration, identity.log, identity.start_utc[:10])
    anne, gate = worked.person("anne", "reviewer"), worked.person("gate", "gatekeeper")
    for browser in (anne, gate):
        text = pack(browser, worked.key, "maintenance").text
        assert not [secret for secret in secrets if secret in text]
    assert pack(anne, worked.key, "maintenance", identity_reason=WHY).status_code == 403
    before = len(gate.get(f"/api/cases/{worked.key}/trail").json())
    text = pack(gate, worked.key, "maintenance", identity_reason=WHY).text
    assert all(secret in text for secret in secrets)
    lines = gate.get(f"/api/cases/{worked.key}/trail").json()
    assert (len(lines) - before, lines[0]["action"]) == (1, "identity seen")


def test_the_period_counts_decisions_and_follow_ups_of_its_months(worked):
    browser = worked.person("anne", "reviewer")
    other = browser.get("/api/cases?since=2031-01&until=2031-01").json()["cases"][0]["case_key"]
    follow_up(browser, other, "sheet fault", "check the table", due="2020-01-01")
    page = unescape(browser.get("/api/report?format=html").text)
    assert "3 cases: 1 decided, 2 to be looked at. 3 follow-ups open, 1 overdue." in page
    february = unescape(browser.get("/api/report?format=html&since=2031-02").text)
    assert "2 cases: 1 decided, 1 to be looked at. 2 follow-ups open, 0 overdue." in february
    assert browser.get("/api/report?since=2031-13").status_code == 422
    for secret in ("DEMO-1", "DEMO-2", "2031-01-06", "twin.toml"):
        assert secret not in page
    pdf = browser.get("/api/report?action=2031-02-01")
    assert pdf.headers["content-type"] == "application/pdf"
    assert pdf.content.startswith(b"%PDF")


@pytest.fixture
def folder(judged, tmp_path):
    """A store of its own for commands: the judged one, copied."""
    return copytree(judged / "store", tmp_path / "store")


def test_the_day_of_a_desk_by_commands(folder, tmp_path, run_main):
    """The desk is served, a decision is made by its interface, and the commands see it."""
    served = subprocess.Popen(
        [sys.executable, "-m", "loganalyze", "review", "--store", str(folder), "--no-browser"],
        cwd=ROOT, stdout=subprocess.PIPE, text=True)
    try:
        base, _, secret = served.stdout.readline().split()[6].rpartition("/enter/")
        with httpx2.Client(base_url=base, headers={"authorization": f"Bearer {secret}"},
                          timeout=30) as program:
            key = program.get("/api/cases").json()["cases"][0]["case_key"]
            done = program.post(f"/api/cases/{key}/decision", json={
                "decision": "valid", "reason": "as recorded", "seen_version": 0})
            assert done.status_code == 200
            adopted = program.post(f"/api/cases/{key}/sheet-adoption", json={
                "sheet": SHEET.format(vmo=255), "reason": "the revision of March holds"})
            assert adopted.json()["material"]["listed"]["status"] == "moved"
            assert adopted.json()["material"]["listed"]["case_key"] == key
            assert program.get("/api/counts").json() == {"moved": 1, "open": 2}
    finally:
        served.terminate()
        served.wait(20)
        served.stdout.close()
    place = ("--store", str(folder))
    backup = str(tmp_path / "backup.jsonl")
    checked = json.loads(run_main("review", "verify-trail", *place, "--json")[1])
    head = checked["head"]
    assert checked["intact"]
    assert head in run_main("review", "backup", *place, backup)[1]
    assert json.loads(run_main("review", "report", *place, "--json")[1])["trail_head"] == head
    for left in folder.glob("review.sqlite*"):
        left.unlink()
    code, out = run_main("review", "restore", *place, backup)
    assert (code, head in out) == (0, True)
    assert run_main("review", "verify-trail", *place, "--head", head)[0] == 0
    assert run_main("review", "verify-trail", *place, "--head", f"1-{'0' * 64}")[0] == 1


@pytest.mark.parametrize(("arguments", "said"), [
    (("--host", "0.0.0.0"), "no accounts"),
    (("--host", "0.0.0.0", "--accounts"), "nobody can sign in"),
    (("verify-trail", "--head", "x"), "no head"),
    (("person", "add", "kim", "--role", "reviewer"), "sign in by nothing"),
    (("person", "change", "kim", "--inactive"), "nobody of this name"),
    (("token", "kim"), "nobody of this name"),
    (("report", "--json", "--since", "March"), "no month"),
    (("restore", "nothing.jsonl"), "nothing.jsonl"),
    (("--database", "mysql://x"), "PostgreSQL"),
])
def test_what_a_command_cant_do_is_one_sentence(folder, run_main, arguments, said):
    place = ("--store", str(folder))
    given = (*place, *arguments) if arguments[0].startswith("--") else (*arguments, *place)
    code, out = run_main("review", *given)
    assert code == 2
    assert said in out
    assert "Traceback" not in out


@pytest.fixture
def run_main(capsys):
    def run(*arguments: str) -> tuple[int, str]:
        with pytest.raises(SystemExit) as stop:
            main([*arguments])
        said = capsys.readouterr()
        return stop.value.code, said.out + said.err

    return run


def test_people_are_added_by_who_holds_the_database(folder, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO("a long enough password\n"))
    for arguments in (("add", "kim", "--role", "administrator", "--password"), ("list",)):
        with pytest.raises(SystemExit) as stop:
            main(["review", "person", "--store", str(folder), *arguments])
        assert stop.value.code == 0
    assert "kim: administrator" in capsys.readouterr().out


def test_an_effect_that_too_few_flights_show_is_said_not_to_be_known(worked):
    page = worked.person("anne", "reviewer").get("/api/report?format=html&action=2031-02-01").text
    found = worked.desk.period(OWNER, PeriodQuery(action=date(2031, 2, 1)))
    assert found.unmeasured in unescape(page)
    assert "flights" in found.unmeasured
    counts = found.counts()
    assert counts["action"] is None
    assert counts["decisions"] == [
        {"limit": "VMO", "decision": "undecided", "cases": 2},
        {"limit": "VMO", "decision": "valid", "cases": 1}]


def test_rates_before_and_after_an_action_have_the_digits_of_the_tables():
    said = period_words.effect("2031-09-01", 0.25, 0.01, 262.2345, 65.5586)
    assert "episodes per 1,000 h were 65.6, before 262: 0.25 times" in said
