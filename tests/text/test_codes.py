"""Each code that a reader or the judgement can give has its sentence, and no other has one."""

import ast
from pathlib import Path
from types import SimpleNamespace

import pytest

import loganalyze
from loganalyze.show.files.result_schemas import schemas
from loganalyze.text.language import finding_text, reading_text, report_labels

READING, FINDINGS = reading_text.READING, finding_text.FINDINGS
PACKAGE = Path(loganalyze.__path__[0])


def trees(*folders):
    return [ast.parse(path.read_text(encoding="utf-8"))
            for folder in folders for path in sorted((PACKAGE / folder).rglob("*.py"))]


def strings(node):
    return {one.value for one in ast.walk(node)
            if isinstance(one, ast.Constant) and isinstance(one.value, str)}


def given(*folders):
    """Return the codes that stand in calls of `Finding`, either of a choice between two."""
    calls = [node for tree in trees(*folders) for node in ast.walk(tree)
             if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
             and node.func.id == "Finding" and node.args]
    found = set()
    for call in calls:
        code = call.args[0]
        choices = [code.body, code.orelse] if isinstance(code, ast.IfExp) else [code]
        found |= {one.value for one in choices if isinstance(one, ast.Constant)}
    return found


def test_each_code_of_a_reader_has_its_sentence():
    assert len(given("read")) > 40
    assert given("read") - set(READING) == set()


def test_each_code_of_the_judgement_has_its_sentence():
    assert len(given("airdata", "events")) > 25
    assert given("airdata", "events") - set(FINDINGS) == set()


@pytest.mark.parametrize(("table", "folders"), [
    (READING, ["read"]), (FINDINGS, ["airdata", "events"])], ids=["reading", "judgement"])
def test_no_sentence_is_for_a_code_that_nothing_gives(table, folders):
    # A code may also be chosen by a table or put together from two parts.
    written = set().union(*map(strings, trees(*folders)))
    left = {code for code in table if code not in written}
    assert left <= {"total_temperature_reduced", "probe_temperature_reduced"}


def test_a_code_without_a_sentence_is_an_error_that_names_it():
    with pytest.raises(KeyError, match="no_such_code"):
        reading_text.reading(SimpleNamespace(code="no_such_code", values={}))


def test_each_way_to_begin_and_end_has_its_words():
    ways = {one["name"]: set(one["constraints"]["enum"])
            for one in schemas()["exceedances.schema.json"]["fields"]
            if one["name"] in ("began_by", "ended_by")}
    assert ways["began_by"] == set(report_labels.BEGAN)
    assert ways["ended_by"] == set(report_labels.ENDED)
