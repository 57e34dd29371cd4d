"""What the package is made of: the wheel and the source distribution, built and opened."""

from __future__ import annotations

import tarfile
import zipfile
from email.message import Message
from email.parser import Parser
from pathlib import Path

import pytest
from hatchling import build

from loganalyze import __version__

ROOT = Path(__file__).parents[1]
LICENCES = ["loganalyze/LICENSE", "loganalyze/show/page/uplot/LICENSE"]
CARRIED = ("loganalyze", "schemas", "tests", "sample_logs", ".ci")
"""Folders that the source distribution carries whole."""
MADE = ("__pycache__", ".hypothesis", ".pytest_cache")


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> tuple[Path, Path]:
    """Build from this source; return the wheel and the source distribution."""
    folder = tmp_path_factory.mktemp("dist")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(ROOT)
        return (folder / build.build_wheel(str(folder)), folder / build.build_sdist(str(folder)))


@pytest.fixture(scope="module")
def wheel(built):
    with zipfile.ZipFile(built[0]) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


@pytest.fixture(scope="module")
def sdist(built):
    with tarfile.open(built[1]) as archive:
        return {member.name.split("/", 1)[1]: archive.extractfile(member).read()
                for member in archive.getmembers() if member.isfile()}


def metadata(text: bytes) -> Message:
    return Parser().parsestr(text.decode("utf-8"))


def files(folder: str) -> dict[str, bytes]:
    """Return the files of a folder of the source, by their path from the root."""
    return {path.relative_to(ROOT).as_posix(): path.read_bytes()
            for path in (ROOT / folder).rglob("*")
            if path.is_file() and not set(path.parts) & set(MADE)}


def test_the_wheel_holds_the_package_and_nothing_of_the_tests(wheel):
    source = files("loganalyze")
    assert "loganalyze/py.typed" in source
    assert source.items() <= wheel.items()
    tops = {name.split("/")[0] for name in wheel}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"loganalyze"}


def test_the_wheel_holds_the_schemas_and_a_sample_sheet_as_they_stand_in_the_source(wheel):
    schemas = {f"loganalyze/{name}": text for name, text in files("schemas").items()}
    assert len(schemas) >= 6
    assert {name: text for name, text in wheel.items()
            if name.startswith("loganalyze/schemas/")} == schemas
    assert wheel["loganalyze/sample_sheets/ouzelwing_240.toml"] == (
        ROOT / "sample_logs" / "ouzelwing_240.toml").read_bytes()


@pytest.mark.parametrize("which", ["wheel", "sdist"])
def test_the_metadata_carry_the_licence_and_no_address(which, request):
    contents = request.getfixturevalue(which)
    name = next(name for name in contents
                if name == "PKG-INFO" or name.endswith(".dist-info/METADATA"))
    stated = metadata(contents[name])
    assert stated["License-Expression"] == "MIT"
    assert stated.get_all("License-File") == LICENCES
    for licence in LICENCES:
        place = licence if which == "sdist" else f"{name.rsplit('/', 1)[0]}/licenses/{licence}"
        assert contents[place] == (ROOT / licence).read_bytes()
    assert b"the loganalyze authors" in contents["loganalyze/LICENSE"]
    for key in ("Home-page", "Download-URL", "Project-URL"):
        assert stated[key] is None
    assert stated["Requires-Python"] == ">=3.11"
    assert stated["Description-Content-Type"] == "text/markdown"


def test_the_source_distribution_holds_what_its_tests_read(sdist):
    for folder in CARRIED:
        found = files(folder)
        assert found
        missing = found.keys() - sdist.keys()
        assert not missing, sorted(missing)[:5]
    for name in ("README.md", "DEVELOPERS.md", "pyproject.toml"):
        assert sdist[name] == (ROOT / name).read_bytes()


def test_a_wheel_built_from_the_source_distribution_is_the_same(sdist, wheel, tmp_path):
    for name, content in sdist.items():
        path = tmp_path / "unpacked" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path / "unpacked")
        name = build.build_wheel(str(tmp_path))
    with zipfile.ZipFile(tmp_path / name) as archive:
        assert {each: archive.read(each) for each in archive.namelist()} == wheel


def test_the_changes_of_this_version_are_found_from_the_readme():
    assert "(DEVELOPERS.md#changes)" in (ROOT / "README.md").read_text(encoding="utf-8")
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    changes = page.split("\n## Changes\n")[1].split("\n## ")[0]
    entry = changes.split(f"\n### {__version__}\n")[1].split("\n### ")[0]
    assert "\n- " in entry
