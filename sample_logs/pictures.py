"""Make the README's pictures: `python sample_logs/pictures.py [FOLDER]`.

From the sample logs, and from a simulated fleet of 60 flights.

Also an example of the library: read, judge, assess, draw.
"""

from __future__ import annotations

import io
import sys
import tempfile
from datetime import date
from pathlib import Path

from PIL import Image

from loganalyze import (
    TrendFiles,
    analyze,
    assess_flight,
    margin_figure,
    panel_figure,
    read_limits,
    read_log,
    run_fleet,
    write_trends,
)
from loganalyze.show.lesson.lesson_figures import course_figure
from loganalyze.simulate import write_fleet
from loganalyze.training import assess_lesson, read_schedule, with_school_ceilings

HERE = Path(__file__).parent


def pictures() -> dict[str, object]:
    """Return the figure for each file name."""
    limits = read_limits(HERE / "ouzelwing_240.toml")
    descent = analyze(read_log(HERE / "descent_through_mmo_and_vmo.csv"), limits)
    briefed = read_schedule(HERE / "lesson" / "schedule.toml")
    first_try = analyze(read_log(HERE / "lesson" / "first_try.csv"),
                        with_school_ceilings(limits, briefed))
    lesson = assess_lesson(assess_flight(first_try), briefed)
    assessed = assess_flight(descent)
    return {
        "descent_margin.png": margin_figure(descent, assessment=assessed),
        "descent_exceedance.png": panel_figure(descent, 1, assessed),
        "lesson_course.png": course_figure(lesson),
    }


def main(folder: Path) -> None:
    """Write the pictures into a folder; as a notebook would show them."""
    for name, figure in pictures().items():
        (folder / name).write_bytes(figure._repr_png_())
    (folder / "fleet_trends.png").write_bytes(fleet_picture())


def fleet_picture() -> bytes:
    """Return two pictures of the page of trends of the README's simulated fleet, one below the
    other: the rate of each aircraft, and how the smallest margins are spread."""
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch)
        write_fleet(place, 60)
        run_fleet([str(place / "logs")], place / "store", fleet=place / "fleet.toml", workers=0)
        write_trends(place / "store", TrendFiles(pictures=place), action=date(2031, 9, 1))
        parts = [Image.open(place / f"{name}.png").convert("RGB")
                 for name in ("aircraft", "margins")]
        whole = Image.new("RGB", (parts[0].width, sum(part.height for part in parts)), "white")
        whole.paste(parts[0], (0, 0))
        whole.paste(parts[1], (0, parts[0].height))
        stream = io.BytesIO()
        whole.save(stream, "PNG", optimize=True)
        return stream.getvalue()


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
