"""A line that is printed: its text, how it is meant, and how it is wrapped."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import Literal

from loganalyze.text.visible_text import visible

Tone = Literal["", "strong", "over", "faint"]
Level = Literal["quiet", "normal", "verbose"]
WIDTH = 80


@dataclass(frozen=True, slots=True)
class Line:
    """One line of text, its style and its indentation.

    ``hang`` : what leads it; ``row`` : of a table, never wrapped.
    """

    text: str
    tone: Tone = ""
    indent: int = 0
    hang: str = ""
    row: bool = False

    def whole(self) -> str:
        """Return the line unwrapped, its controls visible: what it quotes may hold any."""
        return " " * self.indent + self.hang + visible(self.text).replace("\n", " ")

    def wrapped(self, width: int = WIDTH) -> str:
        """Return the line within `width` columns, its controls visible."""
        if self.row:
            return self.whole()
        lead = " " * self.indent + self.hang
        return textwrap.fill(visible(self.text), max(width, len(lead) + 20), initial_indent=lead,
                             subsequent_indent=" " * len(lead), break_long_words=False,
                             break_on_hyphens=False)
