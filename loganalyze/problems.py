"""The one class of user-facing error: what is wrong, where, and the hint."""

from __future__ import annotations


class Problem(Exception):
    """A mistake in what the user gave, that ends the command with exit code 2.

    Parameters
    ----------
    what : str
        What is wrong, as a clause without a full stop ("no column holds the airspeed").
    where : str
        The file, and the line, column or key in it ("flight.csv, line 12").
    hint : str
        What the user can do about it, as a clause without a full stop.
    details : str, optional
        Lines worth printing below the sentence (columns found, a file to start from).
    """

    def __init__(self, what: str, where: str = "", hint: str = "", details: str = "") -> None:
        self.what = what
        self.where = where
        self.hint = hint
        self.details = details
        self.starter = ""
        """A columns file to start from, in which what was recognised of a log is filled in."""
        super().__init__(self.sentence)

    @property
    def sentence(self) -> str:
        """The error as one sentence."""
        sentence = f"{self.where}: {self.what}" if self.where else self.what
        if self.hint:
            sentence += f"; {self.hint}"
        return sentence.replace("\n", " ") + "."
