"""Make the README's pictures: `python sample_logs/pictures.py [FOLDER]`.

From the sample logs, and from a simulated fleet of 60 flights. The picture of the review desk is
taken in the system's Chromium; where there is none, it is left out and the command says so.

Also an example of the library: read, judge, assess, draw.
"""

from __future__ import annotations

import io
import shutil
import socket
import sys
import tempfile
import threading
from datetime import UTC, date, datetime
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
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
DAY = datetime(2031, 12, 1, 9, tzinfo=UTC)
"""On which the desk is pictured."""


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
    with tempfile.TemporaryDirectory() as scratch:
        store = simulated_store(Path(scratch))
        (folder / "fleet_trends.png").write_bytes(fleet_picture(store))
        browser = next(filter(None, map(shutil.which, BROWSERS)), None)
        if browser is None:
            sys.stderr.write("review_desk.png is left out: no Chromium is installed\n")
        else:
            (folder / "review_desk.png").write_bytes(desk_picture(store, browser))


def simulated_store(place: Path) -> Path:
    """Return the store of the README's simulated fleet, judged in a folder."""
    write_fleet(place, 60)
    run_fleet([str(place / "logs")], place / "store", fleet=place / "fleet.toml", workers=0)
    return place / "store"


def fleet_picture(store: Path) -> bytes:
    """Return two pictures of the page of trends of the README's simulated fleet, one below the
    other: the rate of each aircraft, and how the smallest margins are spread."""
    place = store.parent
    write_trends(store, TrendFiles(pictures=place), action=date(2031, 9, 1))
    parts = [Image.open(place / f"{name}.png").convert("RGB")
             for name in ("aircraft", "margins")]
    whole = Image.new("RGB", (parts[0].width, sum(part.height for part in parts)), "white")
    whole.paste(parts[0], (0, 0))
    whole.paste(parts[1], (0, parts[0].height))
    stream = io.BytesIO()
    whole.save(stream, "PNG", optimize=True)
    return stream.getvalue()


def desk_picture(store: Path, browser: str) -> bytes:
    """Return what the review desk shows of the store's case that needs a look first."""
    import uvicorn
    from playwright.sync_api import sync_playwright

    from loganalyze.review.access.server_binding import Binding
    from loganalyze.review.access.sign_in import SignIn
    from loganalyze.review.application.desk_application import desk_application
    from loganalyze.review.application.review_desk import ReviewDesk
    from loganalyze.review.decisions.decision_database import open_database

    decisions = open_database(store)
    decisions.clock = lambda: DAY
    sign_in, desk = SignIn(decisions, "safety office"), ReviewDesk(store, decisions)
    binding = Binding("127.0.0.1", free_port())
    server = uvicorn.Server(uvicorn.Config(
        desk_application(desk, sign_in, binding), port=binding.port, log_level="warning",
        lifespan="off", ws="none"))
    serving = threading.Thread(target=server.run)
    serving.start()
    try:
        with sync_playwright() as playwright:
            window = playwright.chromium.launch(executable_path=browser, args=["--no-sandbox"])
            page = window.new_page(viewport={"width": 1180, "height": 726}, color_scheme="light")
            page.goto(f"{binding.address}/enter/{sign_in.secret}")
            page.locator("#cases a.open").first.click()
            page.locator("#decide").wait_for()
            taken = page.screenshot()
            window.close()
    finally:
        server.should_exit = True
        serving.join()
        desk.close()
    # A page of few colours: half as many bytes, and no difference that is seen.
    stream = io.BytesIO()
    Image.open(io.BytesIO(taken)).convert("RGB").quantize(64).save(stream, "PNG", optimize=True)
    return stream.getvalue()


def free_port() -> int:
    """Return a port of this machine that nothing listens at."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
