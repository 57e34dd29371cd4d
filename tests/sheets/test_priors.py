"""The priors file: what it says, and each mistake in one sentence with its mend."""

import pytest

from loganalyze import Prior, Problem, priors_of, read_priors

FILE = """\
[[prior]]
limit = "VMO"
source = "margins of 997 flights"
edges = [-10, 0, 10, 40]
counts = [2, 85, 910]
[[prior]]
limit = "MMO"
source = "the year's margins"
normals = [[0.9, 0.04, 0.02], [0.1, 0.01, 0.01]]
"""


@pytest.fixture
def read(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def read(old="", new=""):
        assert old in FILE
        (tmp_path / "p.toml").write_text(FILE.replace(old, new, 1), encoding="utf-8")
        return read_priors("p.toml")

    return read


def test_the_form(read):
    priors = priors_of(read())
    assert priors == {
        "VMO": Prior.of_histogram("margins of 997 flights", [-10, 0, 10, 40], [2, 85, 910]),
        "MMO": Prior.of_normals("the year's margins", [(0.9, 0.04, 0.02), (0.1, 0.01, 0.01)])}
    # 85 flights in 10 kt under, 2 in 10 kt over; a reading on the limit.
    assert priors["VMO"].probability(0.0, 1.0) == pytest.approx(2 / 87)


@pytest.mark.parametrize(("old", "new", "said"), [
    ("counts = [2, 85, 910]", "counts = [2, 85]",
     'p.toml, prior[1], key counts: 4 edges and 2 counts don\'t fit; write one edge more than '
     "counts."),
    ("counts = [2, 85, 910]", "", "p.toml, prior[1]: the prior has neither a histogram nor "
     "normals; write edges and counts, or normals."),
    ("counts = [2, 85, 910]", "counts = [0, 0, 0]", "p.toml, prior[1], key counts: the counts are "
     "negative, or all 0; write how many flights lie between each two edges."),
    ("[-10, 0, 10, 40]", "[-10, 0, 0, 40]", "p.toml, prior[1], key edges, row 3: the edge 0 "
     "doesn't rise above the one before it; write the edges in rising order."),
    ("0.1, 0.01, 0.01", "0.1, 0.01, 0", "p.toml, prior[2], key normals, row 2: a weight or a "
     "standard deviation isn't above 0; write each row as [weight, mean, deviation]."),
    ('"MMO"', '"VMO"', 'p.toml, prior[2], key limit: two priors are given for the limit "VMO"; '
     "keep one of them."),
    ("normals = ", "counts = [1]\nnormals = ", "p.toml, prior[2], key normals: a histogram and "
     "normals exclude each other; keep one of them."),
])
def test_mistakes(read, old, new, said):
    with pytest.raises(Problem) as raised:
        read(old, new)
    assert raised.value.sentence == said
