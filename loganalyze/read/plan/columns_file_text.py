"""A columns file as text, to be read and changed by hand."""

from __future__ import annotations

from collections.abc import Mapping

from loganalyze.sheets.columns_file import ColumnsFile
from loganalyze.sheets.toml_models import written

_TABLES = ("signature", "file", "clock", "long")


def columns_text(sheet: ColumnsFile, known: Mapping[str, str] | None = None) -> str:
    """Return a columns file as TOML.

    Parameters
    ----------
    sheet : ColumnsFile
        The file; what it doesn't state is left out.
    known : mapping of str to str, optional
        For each channel a remark on how it is known, that becomes a comment.

    Returns
    -------
    str
        The text, that reads back to the same file.
    """
    said = sheet.model_dump(exclude_defaults=True)
    blocks = ["\n".join([f"[{table}]", *(f"{key} = {written(value)}"
                                         for key, value in said[table].items())])
              for table in _TABLES if said.get(table)]
    if said.get("columns"):
        lines = ["[columns]"]
        for channel, entry in said["columns"].items():
            remark = (known or {}).get(channel, "")
            lines.append(f"{channel} = {written(_quoted(entry))}" + (f"  # {remark}" if remark
                                                                    else ""))
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks) + "\n"


def _quoted(entry: Mapping[str, object]) -> dict[str, object]:
    """Return an entry with the words of its states quoted: they may hold anything."""
    return {key: {written(word): code for word, code in value.items()}
            if key == "values" and isinstance(value, dict) else value
            for key, value in entry.items()}
