"""HTML made of elements, so that no text gets in without being escaped."""

from __future__ import annotations

import html
import json
from typing import Any

from loganalyze.text.visible_text import visible

_VOID = ("img", "meta", "br", "input")

class Html(str):
    """Text that is markup already; made by `element` and `joined` only."""

    __slots__ = ()


def escaped(text: str) -> Html:
    """Return plain text as markup, unless it is markup already."""
    return text if isinstance(text, Html) else Html(html.escape(visible(text)))


def joined(parts: Any, between: str = "") -> Html:
    """Return parts one after the other, each escaped unless it is markup."""
    return Html(escaped(between).join(escaped(part) for part in parts))


def element(name: str, /, *children: str, **attributes: str | int | bool | None) -> Html:
    """Return an element; in attribute names `_` stands for `-`, and a last one is dropped.

    True gives a bare attribute, False and None none.
    """
    written = []
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        spelt = key.rstrip("_").replace("_", "-")
        written.append(f" {spelt}" if value is True else
                       f' {spelt}="{html.escape(visible(str(value)))}"')
    start = f"<{name}{''.join(written)}>"
    if name in _VOID:
        return Html(start)
    return Html(f"{start}{joined(children)}</{name}>")


def raw(name: str, text: str, /, **attributes: str) -> Html:
    """Return a script or style element with its own text as it is.

    Raises ValueError for text that would end the element.
    """
    if f"</{name}" in text.lower() or "<!--" in text:
        raise ValueError(f"the text of a {name} element must not end it")
    opening = element(name, **attributes).removesuffix(f"</{name}>")
    return Html(f"{opening}{text}</{name}>")


def json_text(value: Any) -> str:
    """Return `value` as JSON that is safe inside a script element."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text
