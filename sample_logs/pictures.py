"""Make the README's pictures from the sample logs: `python sample_logs/pictures.py [FOLDER]`.

Also an example of the library: read, judge, assess, draw.
"""

from __future__ import annotations

import sys
from pathlib import Path

from loganalyze import (
    analyze,
    assess_flight,
    margin_figure,
    panel_figure,
    read_limits,
    read_log,
)
from loganalyze.show.lesson.lesson_figures import course_figure
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


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
