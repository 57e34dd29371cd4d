"""In a made-up language no word of the review desk is left unmarked: pages, packs, refusals.

What may stand outside marks is data: names of people, limits and aircraft, what people wrote, and
the names of file formats.
"""

import re

import pytest

import loganalyze
from loganalyze.review.decisions.decision_database import open_database
from loganalyze.text import language
from tests.fleet.conftest import SHEET, write_log, write_sheet
from tests.review.conftest import Office, judge
from tests.text import made_up
from tests.text.test_made_up_language import figure_text, figures, page_text, paper_text

__all__ = ["figures"]

PEOPLE = {"anne": "reviewer", "bo": "gatekeeper", "cy": "administrator"}
UNITS = {"kt", "ft", "Mach", "UTC"}
FORMATS = {"PDF", "HTML", "CSV", "JSON", "TOML"}
WRITTEN = "Seen twice already."
DATA = {*PEOPLE, *UNITS, *FORMATS, *re.findall("[A-Za-z]{2,}", WRITTEN), "VMO", "MMO", "loganalyze",
        "command", "test", "id", "example", "https"}


@pytest.fixture(autouse=True)
def _speaking():
    language.register("made-up", made_up.module)
    with language.speaking("made-up"):
        yield
    language.withdraw("made-up")


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    folder = tmp_path_factory.mktemp("desk")
    write_sheet(folder / "twin.toml")
    for number, peak in enumerate((251, 262, 249)):
        write_log(folder / "logs" / f"DEMO-{1 + number % 2}" / f"{number}.csv", peak,
                  day=f"2031-0{number + 1}-06")
    judge(folder / "logs", folder / "store")
    return folder


@pytest.fixture
def worked(judged, tmp_path):
    """A desk at which something of every kind was done."""
    made = Office(judged / "store", open_database(tmp_path))
    anne = made.person("anne", "reviewer")
    for kind in ("crew contact", "inspection requested", "sheet fault"):
        asked = anne.post(f"/api/cases/{made.key}/follow-ups", json={
            "kind": kind, "owner": "bo", "due": "2020-01-01", "task": WRITTEN})
    done = asked.json()["follow_ups"][0]
    anne.post(f"/api/follow-ups/{done['follow_up_id']}", json={
        "owner": "bo", "due": "2020-01-01", "done": True, "outcome": WRITTEN, "seen_version": 1})
    anne.post(f"/api/cases/{made.key}/notes", json={"note": WRITTEN})
    anne.post(f"/api/cases/{made.key}/decision", json={
        "decision": "nuisance", "reason": WRITTEN,
        "seen_version": anne.get(f"/api/cases/{made.key}").json()["record"]["version"]})
    made.form(anne, "/filters", name="anne", query="limit=VMO")
    yield made
    made.desk.close()


def left(text, *more):
    """Return the words that stand between no marks and are no data; pseudonyms and hashes aren't
    either."""
    text = re.sub(r"\b[AS]-[A-Z2-7]{8}\b", "", text)
    text = re.sub(r"\b(?=[a-f]*\d)[0-9a-f]{2,}\b", "", text)
    text = re.sub(r"[0-9a-f]*\n[0-9a-f]+\b(?=\s*$)", "", text)
    return sorted(made_up.words(text) - DATA - {*more})


def shown(answer, status=200):
    assert answer.status_code == status, answer.text[:300]
    assert made_up.OPEN in answer.text
    # What a script needs, and what nobody sees: addresses, values of fields, names of classes.
    return page_text(answer.text)


def test_the_list_and_its_filters(worked):
    browser = worked.person("anne", "reviewer")
    for query in ("", "status=open&severity=none&phase=cruise&page_size=1", "text=zzz",
                  "follow_up=overdue&since=2031-01&sort=due&descending=true"):
        assert left(shown(browser.get(f"/?{query}"))) == [], query


def test_a_case_for_each_role_and_its_refusals(worked):
    for name in ("anne", "bo"):
        browser = worked.person(name, PEOPLE[name])
        assert left(shown(browser.get(f"/cases/{worked.key}"))) == []
        stale = worked.form(browser, f"/cases/{worked.key}/decision", decision="valid",
                            reason=WRITTEN, seen_version="1")
        assert left(shown(stale, 409)) == []
        wrong = worked.form(browser, f"/cases/{worked.key}/notes", other="1")
        assert left(shown(wrong, 422), "note", "other") == []
    revealed = worked.form(browser, f"/cases/{worked.key}/identity", reason=WRITTEN)
    assert left(shown(revealed), "DEMO", *made_up.words(str(worked.desk.store.parent)), "csv",
                "logs", "twin", "toml") == []
    assert left(shown(browser.get("/cases/" + 20 * "0"), 404)) == []
    assert left(shown(browser.get("/people"), 403)) == []


def test_a_decision_whose_verdict_moved(judged, tmp_path):
    store, logs = tmp_path / "store", judged / "logs"
    (tmp_path / "twin.toml").write_text((judged / "twin.toml").read_text())
    fleet = tmp_path / "fleet.toml"
    fleet.write_text((judged / "fleet.toml").read_text())
    loganalyze.run_fleet([str(logs)], store, fleet=fleet, workers=0)
    made = Office(store, open_database(store))
    browser = made.person("anne", "reviewer")
    for case in made.desk.cases(*_all()).cases:
        browser.post(f"/api/cases/{case.case_key}/decision", json={
            "decision": "valid", "reason": WRITTEN, "seen_version": 0})
    write_sheet(tmp_path / "twin.toml", vmo=250)
    loganalyze.run_fleet([str(logs)], store, fleet=fleet, workers=0)
    made.desk.close()
    made = Office(store, open_database(store))
    browser = made.person("anne", "reviewer")
    found = made.desk.cases(*_all()).cases
    assert {case.status for case in found} >= {"gone", "moved"}
    assert left(shown(browser.get("/"))) == []
    for case in found:
        assert left(shown(browser.get(f"/cases/{case.case_key}"))) == []
    made.desk.close()


def _all():
    from loganalyze.review.cases.case_filter import CaseFilter
    from loganalyze.review.decisions.trail_entries import Actor

    return Actor("owner", "owner"), CaseFilter()


def test_a_corrected_sheet_beside_what_counts(worked):
    bo = worked.person("bo", "gatekeeper")
    assert left(shown(bo.get(f"/cases/{worked.key}/trial"))) == []
    sheet = SHEET.format(vmo=249)
    tried = worked.form(bo, f"/cases/{worked.key}/trial", sheet=sheet)
    data = re.findall(r"[^\W\d_]{2,}", sheet)
    assert left(shown(tried), *data) == []


def test_pages_of_the_whole_office(worked):
    bo, cy = worked.person("bo", "gatekeeper"), worked.person("cy", "administrator")
    worked.form(cy, "/people/bo", active="false")
    worked.form(cy, "/people/bo", active="true")
    bo = worked.person("bo", "gatekeeper")
    for browser, path in ((bo, "/follow-ups?only_open=false"), (bo, "/follow-ups?owner=zz"),
                          (bo, "/report"), (bo, "/trail"), (cy, "/trail/check"), (cy, "/people"),
                          (cy, "/trail?actor=zz"), (worked.stranger(), "/sign-in")):
        assert left(shown(browser.get(path)), "zz") == [], path
    faults = shown(cy.get("/trail/check?witness=9999-" + 64 * "0"))
    assert left(faults) == []


@pytest.mark.parametrize("reader", ["safety", "crew", "maintenance"])
def test_a_pack_for_each_reader(worked, reader, figures):
    bo = worked.person("bo", "gatekeeper")
    body = {"reader": reader, "identity_reason": WRITTEN}
    files = [bo.post(f"/api/cases/{worked.key}/pack", json={**body, "format": form})
             for form in ("html", "pdf")]
    whose = ("DEMO", "csv", *made_up.words(str(worked.desk.store.parent)))
    assert left(page_text(files[0].text), *whose) == []
    assert left(paper_text(files[1].content), *whose) == []
    assert figures
    for figure in figures:
        assert left(figure_text(figure)) == []


@pytest.mark.parametrize("reader", ["safety", "everybody"])
def test_the_periodic_report(worked, reader):
    bo = worked.person("bo", "gatekeeper")
    for query in ("since=2031-01&until=2031-03", "since=2040-01", "until=2031-02"):
        page = bo.get(f"/report/file?format=html&reader={reader}&{query}")
        assert left(page_text(page.text)) == [], query
