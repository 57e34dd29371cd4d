"""A language is one folder, and every word that is shown comes through the one door to it."""

import inspect
import subprocess
import sys
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace

import pytest

from loganalyze.text import language

TEXT = Path(language.__file__).parent


def folder(code: str) -> list[str]:
    """Return the modules of a language's folder, by their place in it."""
    return sorted(path.relative_to(TEXT / code).with_suffix("").as_posix().replace("/", ".")
                  for path in (TEXT / code).rglob("*.py") if path.name != "__init__.py")


def public(module: object) -> dict[str, object]:
    """Return what a module of words defines for others: constants, functions, classes."""
    name = getattr(module, "__name__", "")
    return {key: value for key, value in vars(module).items()
            if not key.startswith("_") and not inspect.ismodule(value)
            and getattr(value, "__module__", name) == name}


def lacking(code: str) -> list[str]:
    """Return what a language lacks beside the English one, or takes otherwise."""
    found = []
    for place in language.MODULES:
        english = import_module(f"loganalyze.text.en.{place}")
        try:
            other = language.LANGUAGES[code](place)
        except ImportError:
            found.append(place)
            continue
        for name, value in public(english).items():
            if not hasattr(other, name):
                found.append(f"{place}.{name}")
            elif inspect.isfunction(value) and (
                    list(inspect.signature(value).parameters)
                    != list(inspect.signature(getattr(other, name)).parameters)):
                found.append(f"{place}.{name}: other parameters")
            elif isinstance(value, dict) and value.keys() != getattr(other, name).keys():
                found.append(f"{place}.{name}: other keys")
    return found


def test_the_door_knows_every_module_of_the_language():
    assert folder("en") == sorted(language.MODULES)


def test_every_folder_of_a_language_is_registered_and_whole():
    folders = [path.parent.name for path in TEXT.glob("*/__init__.py")]
    assert "en" in folders
    for code in folders:
        assert lacking(code) == []


def test_what_a_language_lacks_is_named(added):
    added("xx", lambda place: SimpleNamespace(
        **{**public(import_module(f"loganalyze.text.en.{place}")), "clock": lambda: ""}))
    assert lacking("xx") == ["number_format.clock: other parameters"]


@pytest.fixture
def added():
    """Return what registers a language until the end of the test."""
    codes = []

    def add(code, loader):
        language.register(code, loader)
        codes.append(code)

    yield add
    for code in codes:
        language.withdraw(code)


def test_a_word_is_looked_up_at_each_use_in_the_language_that_is_spoken(added):
    added("xx", lambda place: SimpleNamespace(SKIP="Hopp"))
    from loganalyze.text.language import page_labels

    assert language.spoken() == "en"
    assert page_labels.SKIP == "Skip to the report"
    with language.speaking("xx"):
        assert page_labels.SKIP == "Hopp"
        with language.speaking("en"):
            assert page_labels.SKIP == "Skip to the report"
        assert language.spoken() == "xx"
    assert page_labels.SKIP == "Skip to the report"


def test_a_language_that_is_not_there_is_refused(added):
    with pytest.raises(KeyError, match="xx"), language.speaking("xx"):
        pass
    with pytest.raises(ValueError, match="en already"):
        language.register("en", lambda place: None)
    with pytest.raises(ImportError):
        from loganalyze.text.language import nothing_of_the_kind  # noqa: F401


def test_no_word_is_loaded_before_it_is_asked_for():
    loaded = subprocess.run(
        [sys.executable, "-c",
         "import sys, loganalyze.text.language, loganalyze.text.presentation\n"
         "print([name for name in sys.modules if name.startswith('loganalyze.text.en')])"],
        capture_output=True, text=True, check=True).stdout
    assert loaded.strip() == "[]"
