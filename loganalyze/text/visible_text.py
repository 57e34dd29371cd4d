"""Text in which nothing is hidden: controls and direction overrides as code points."""

from __future__ import annotations

import unicodedata

# Controls and bidirectional overrides could hide or reorder what a hostile name contains.
_HARMFUL = {"Cc", "Cf", "Cs", "Co"}
_HARMLESS = "\t\n\u00ad\u200c\u200d"


def visible(text: str) -> str:
    """Return `text` with controls and direction overrides made visible as code points."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        (f"\\u{ord(character):04x}" if ord(character) < 0x10000 else f"\\U{ord(character):08x}")
        if unicodedata.category(character) in _HARMFUL and character not in _HARMLESS
        else character for character in text)
