"""The review desk in a browser: each step of a reviewer's day, alone and beside another one."""

from __future__ import annotations

import re

import pytest

from tests.browser.reviewed_desk import PEAKS, over_the_edge, served, violations

MARKUP = '"><img src=x onerror=alert(1)><script>alert(2)</script>\'{{7*7}}'


def case_of(page, peak: int) -> str:
    """Return the address of the case of a flight, with its place in the list."""
    page.goto(re.match(r"http://[^/]+", page.url)[0] + "/?page_size=100")
    row = page.locator("#cases tbody tr", has_text=f"{peak - 245:.1f} kt")
    return row.locator("a.open").evaluate("link => link.href")


def decide(page, decision: str, reason: str) -> None:
    page.locator(f"#decide input[value='{decision}']").check()
    page.locator("#decide textarea").fill(reason)
    page.get_by_role("button", name="Decide").click()


def test_the_desk_of_one_person_opens_by_its_address(browser, store, database):
    for address in served(store, database):
        with browser.new_context() as context:
            page = context.new_page()
            page.goto(address)
            page.wait_for_selector("#cases")
            assert page.locator("#cases tbody tr").count() == len(PEAKS)
            assert "enter" not in page.url


def test_a_reviewers_day(seat):
    page = seat("anne")
    base = page.url
    first = page.locator("#cases tbody tr").first
    assert "proven over" in first.text_content()

    page.locator("summary", has_text="Limit").click()
    page.get_by_label(re.compile("VMO")).check()
    page.keyboard.press("Escape")
    page.locator("h1").click()
    page.keyboard.press("/")
    page.keyboard.type("vmo")
    page.keyboard.press("Enter")
    page.wait_for_url(f"{base}?text=vmo&limit=VMO&sort=attention")
    assert page.locator("#cases tbody tr").count() == len(PEAKS)
    page.locator("h1").click()

    page.keyboard.press("j")
    page.keyboard.press("j")
    page.keyboard.press("k")
    wanted = page.evaluate("document.activeElement.href")
    assert wanted == first.locator("a.open").evaluate("link => link.href")
    page.keyboard.press("Enter")
    page.wait_for_url(wanted)
    assert page.locator("svg path").count() == 5
    page.keyboard.press("d")
    assert page.evaluate("document.activeElement.name") == "decision"

    decide(page, "valid", "The displayed speed agrees.")
    page.wait_for_selector(".now b")
    assert page.url == wanted
    assert "valid, anne" in page.locator(".now").text_content()
    page.get_by_label("Note", exact=True).fill("Steep descent.")
    page.get_by_role("button", name="Add the note").click()
    page.wait_for_selector("text=Steep descent.")
    page.locator("summary", has_text="Open a follow-up").click()
    page.get_by_label("Owner").fill("mo")
    page.get_by_label("Due").fill("2026-01-31")
    page.get_by_label("What is to be done").fill("Look at the flaps.")
    page.get_by_role("button", name="Open a follow-up").click()
    page.wait_for_selector(".item >> text=Look at the flaps.")
    assert "! overdue" in page.locator(".item", has_text="flaps").text_content()
    page.get_by_label("Outcome").fill("Nothing was found.")
    page.get_by_role("button", name="Close it").click()
    page.wait_for_selector("text=Outcome: Nothing was found.")
    decide(page, "nuisance", "A gust.")
    page.wait_for_selector(".now >> text=A gust.")

    said = page.locator(".trail li").all_text_contents()
    assert [line.partition("anne: ")[2] for line in said] == [
        "decided", "closed a follow-up", "opened a follow-up", "noted", "decided"]
    page.goto(page.url.partition("/cases")[0] + "/trail")
    assert "valid → nuisance" in page.locator("main").text_content()


def test_keys_lead_through_the_list_and_are_listed(seat):
    page = seat("bo")
    links = page.locator("#cases a.open").evaluate_all("all => all.map(one => one.href)")
    page.goto(links[1])
    for key, place in (("n", 2), ("p", 1), ("p", 0)):
        page.keyboard.press(key)
        page.wait_for_url(links[place])
    assert page.locator("a[rel=prev]").count() == 0
    page.keyboard.press("?")
    assert page.locator("#keys").is_visible()
    page.keyboard.press("Escape")
    page.keyboard.press("l")
    page.wait_for_selector("#cases")


def test_a_decided_case_gives_its_place_to_the_next(seat):
    page = seat("bo")
    links = page.locator("#cases a.open").evaluate_all("all => all.map(one => one.href)")
    page.goto(links[0])
    key = page.locator("a[rel=next]").get_attribute("href").partition("?")[0]
    decide(page, "false", "The probe was covered.")
    page.wait_for_selector(".now b")
    assert page.locator("a[rel=next]").get_attribute("href").partition("?")[0] == key


def test_the_slower_of_two_reviewers_sees_the_change_and_loses_nothing(seat):
    anne, bo = seat("anne"), seat("bo")
    case = case_of(anne, 255)
    for page in (anne, bo):
        page.goto(case)
    anne.get_by_label("Note", exact=True).fill("Look at the sheet.")
    anne.get_by_role("button", name="Add the note").click()
    anne.wait_for_selector("text=Look at the sheet.")
    decide(anne, "valid", "It is in the log.")
    anne.wait_for_selector(".now b")
    decide(bo, "nuisance", "Two lines\nof mine.")
    bo.wait_for_selector("[role=alert]")
    said = bo.locator("[role=alert]").text_content()
    assert "anne: decided" in said
    assert "decision valid" in said
    assert "It is in the log." in said
    assert "Look at the sheet." in said
    assert bo.locator("#decide textarea").input_value() == "Two lines\nof mine."
    assert bo.locator("#decide input:checked").get_attribute("value") == "nuisance"
    assert "valid, anne" in bo.locator(".now").text_content()
    bo.get_by_role("button", name="Decide").click()
    bo.wait_for_selector(".now >> text=nuisance")
    trail = bo.locator(".trail").text_content()
    assert trail.index("bo: decided") < trail.index("anne: decided")


def test_markup_in_every_field_is_shown_as_it_was_typed(seat):
    page = seat("anne")
    case = case_of(page, 253)
    page.goto(case)
    decide(page, "valid", MARKUP)
    page.wait_for_selector(".now b")
    page.get_by_label("Note", exact=True).fill(MARKUP)
    page.get_by_role("button", name="Add the note").click()
    page.wait_for_selector("#notes ~ .item")
    page.locator("summary", has_text="Open a follow-up").click()
    page.get_by_label("Owner").fill(MARKUP)
    page.get_by_label("Due").fill("2026-01-31")
    page.get_by_label("What is to be done").fill(MARKUP)
    page.get_by_role("button", name="Open a follow-up").click()
    page.wait_for_selector("#follow ~ .item")
    assert page.locator("main").inner_text().count(MARKUP) == 4
    page.get_by_label("Outcome").fill(MARKUP)
    page.get_by_role("button", name="Close it").click()
    page.wait_for_selector("text=Outcome:")
    page.locator("form[action*=identity] input[name=reason]").fill(MARKUP)
    page.get_by_role("button", name="Show it").click()
    page.wait_for_selector("dd >> text=<b>2026-05-06.csv")
    base = page.url.partition("/cases")[0]
    page.goto(base)
    page.locator("form[action='/filters'] input[name=name]").fill(MARKUP)
    page.get_by_role("button", name="Keep this filter").click()
    page.wait_for_selector(".kept li")
    assert MARKUP in page.locator(".kept").inner_text()
    page.locator("#search").fill(MARKUP)
    page.get_by_role("button", name="Show").click()
    page.wait_for_url(re.compile("text="))
    assert page.locator("#search").input_value() == MARKUP
    for path in ("/trail", "/follow-ups?only_open=false"):
        page.goto(base + path)
        assert MARKUP in page.locator("main").inner_text()
        assert page.locator("img, main script, main b b").count() == 0


def corrected(store, maximum: int) -> str:
    """The limits sheet of a store's flights with another VMO."""
    text = (store.parent / "twin.toml").read_text(encoding="utf-8")
    return text.replace("maximum_kt = 245", f"maximum_kt = {maximum}")


def test_a_corrected_sheet_is_tried_side_by_side_then_dropped_or_adopted(seat, store, tmp_path):
    bo, anne = seat("bo"), seat("anne")
    case = case_of(bo, 249)
    sheet = tmp_path / "revised.toml"
    sheet.write_text(corrected(store, 247), encoding="utf-8")
    for page in (bo, anne):
        page.goto(case)
        page.get_by_role("link", name="Try a corrected sheet").click()
        page.get_by_label("from a file").first.set_input_files(sheet)
        page.get_by_role("button", name="Judge by it").click()
        page.wait_for_selector(".beside")
        row = page.locator(".beside tr", has_text="Greatest excess").first
        assert row.locator("td").all_text_contents() == ["4.0 kt", "2.0 kt ◂ changed"]
        assert violations(page) == []
    assert bo.get_by_role("button", name="Adopt it").count() == 0
    bo.locator("#drop textarea").fill("It is of another type.")
    bo.get_by_role("button", name="Drop it").click()
    bo.wait_for_selector(".trail >> text=bo: dropped a corrected sheet")
    assert "exceeded by 4.0 kt" in bo.locator("h1").text_content()
    anne.locator("#adopt textarea").fill("The revision of March.")
    anne.get_by_role("button", name="Adopt it").click()
    anne.wait_for_selector(".trail >> text=anne: adopted a corrected sheet")
    assert "exceeded by 2.0 kt" in anne.locator("h1").text_content()
    cy = seat("cy")
    said = cy.locator("tbody tr", has_text="adopted a corrected sheet").first
    said.locator("summary").click()
    assert "maximum_kt = 247" in said.locator("pre").inner_text()


def test_a_decision_whose_verdict_moved_is_cautioned_and_withdrawn(seat, store):
    page = seat("anne")
    case = case_of(page, 248)
    page.goto(case)
    decide(page, "valid", "As recorded.")
    page.wait_for_selector(".now b")
    page.get_by_role("link", name="Try a corrected sheet").click()
    page.get_by_label("or as text").first.fill(corrected(store, 260))
    page.get_by_role("button", name="Judge by it").click()
    page.wait_for_selector("text=no exceedance")
    page.locator("#adopt textarea").fill("The limit is 260 kt.")
    page.get_by_role("button", name="Adopt it").click()
    page.wait_for_selector(".caution >> text=An exceedance now: yes → no")
    assert "No longer an exceedance" in page.locator("h1").text_content()
    assert violations(page) == []
    page.get_by_label("Withdraw the decision").check()
    page.locator("#decide textarea").fill("It was none.")
    page.get_by_role("button", name="Decide").click()
    page.wait_for_selector(".now >> text=None yet.")


def test_the_office_changes_a_follow_up_manages_people_and_checks_the_trail(seat):
    page = seat("bo")
    base = page.url
    page.goto(case_of(page, 251))
    page.locator("summary", has_text="Open a follow-up").click()
    page.get_by_label("Owner").fill("mo")
    page.get_by_label("Due").fill("2026-01-31")
    page.get_by_label("What is to be done").fill("Ask the crew.")
    page.get_by_role("button", name="Open a follow-up").click()
    page.wait_for_selector(".item >> text=Ask the crew.")
    page.goto(f"{base}follow-ups?overdue=true")
    row = page.locator("tbody tr", has_text="Ask the crew.")
    assert "! overdue" in row.text_content()
    row.locator("summary").click()
    row.get_by_label("Owner", exact=True).fill("lee")
    row.get_by_label("Due", exact=True).fill("2999-01-31")
    row.get_by_role("button", name="Change it").click()
    page.wait_for_selector("h1 >> text=0 overdue")
    page.goto(f"{base}report")
    page.get_by_label("From month").fill("2026-01")
    page.get_by_label("Reader").select_option("everybody")
    page.get_by_label("Format").select_option("html")
    with page.expect_download() as got:
        page.get_by_role("button", name="Get the report").click()
    assert got.value.suggested_filename == "safety-report.html"

    keeper = seat("cy")
    keeper.goto(f"{base}people")
    keeper.locator("form[action='/people'] input[name=person]").fill("di")
    keeper.locator("form[action='/people'] input[name=password]").fill("another long password")
    keeper.get_by_role("button", name="Add", exact=True).click()
    keeper.get_by_label("Role, di", exact=True).select_option("gatekeeper")
    keeper.get_by_label("Change the role, di").click()
    keeper.get_by_label("Bar from signing in, di").click()
    keeper.wait_for_selector("text=may not sign in")
    assert keeper.get_by_label("Role, di", exact=True).input_value() == "gatekeeper"
    keeper.get_by_label("Bar from signing in, cy").click()
    keeper.wait_for_selector("text=nobody could manage people")
    keeper.goto(f"{base}trail")
    keeper.get_by_label("Who", exact=True).fill("cy")
    keeper.locator("select[name=action]").select_option("person changed")
    keeper.get_by_role("button", name="Show").click()
    keeper.wait_for_url(re.compile("action=person"))
    assert keeper.locator("tbody tr").count() == 2
    keeper.get_by_role("button", name="Check the trail").click()
    keeper.wait_for_selector("text=The trail is as it was written.")
    assert violations(keeper) == []
    with keeper.expect_download() as got:
        keeper.get_by_role("button", name="Export the whole trail").click()
    assert got.value.suggested_filename == "trail.jsonl"


@pytest.mark.parametrize(("width", "scheme"), [(1440, "light"), (820, "dark")])
def test_axe_finds_nothing_and_nothing_runs_over_the_edge(seat, width, scheme):
    page = seat("anne", width, scheme)
    base, case = page.url, case_of(page, 262)
    trial = case.partition("?")[0] + "/trial"
    for path in (base, case, trial, f"{base}follow-ups?only_open=false", f"{base}trail",
                 f"{base}report", f"{base}?text=nothing", f"{base}people", f"{base}nowhere"):
        page.goto(path)
        for summary in page.locator("summary").all():
            summary.evaluate("one => { one.parentElement.open = true; }")
        assert violations(page) == [], path
        assert not over_the_edge(page), path
    if width == 1440:
        keeper = seat("cy")
        keeper.goto(f"{base}people")
        assert violations(keeper) == []
        stranger = seat.stranger(width, scheme)
        stranger.goto(f"{base}sign-in")
        assert violations(stranger) == []
