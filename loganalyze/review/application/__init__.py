"""The web application: the desk, its HTTP interface, its pages.

- `review_desk.ReviewDesk`: every question and every change, each asking first whether the person
  may. Pages, the HTTP interface and commands call nothing else.
- `desk_forms`: what comes in, as pydantic models; `desk_views`: what goes out, as dataclasses.
- `interface_operations`: the table of the HTTP interface; a line makes the route, its checks and
  its description (`interface_description`, OpenAPI 3.1).
- `desk_pages`: the pages, rendered from `templates/` with the words of ``text/en/review/``.
- `desk_application.desk_application`: all of it as a Starlette application, behind the guards.
"""
