"""The page on which a corrected sheet is tried against a case, then adopted or dropped."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from loganalyze.problems import Problem
from loganalyze.review.access.permissions import Permission
from loganalyze.review.access.sign_in import SignedIn
from loganalyze.review.application.desk_forms import AdoptionForm, SheetForm
from loganalyze.review.application.desk_views import CaseView, SheetTrial
from loganalyze.review.application.pages.page_frame import PageFrame, back_to, filled
from loganalyze.review.application.request_answers import places
from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.review.decisions.case_decisions import Outdated
from loganalyze.review.decisions.decision_database import DatabaseLost
from loganalyze.text.language import desk_labels

FILES = ("sheet", "columns")
"""The fields of a trial that may come as files, each then under its name with "_file"."""


class TrialPages:
    """A corrected sheet beside what counts; `routes` gives the pages to the application."""

    def __init__(self, desk: ReviewDesk, frame: PageFrame) -> None:
        self.desk, self.frame = desk, frame

    def routes(self) -> list[Route]:
        """Return the routes of these pages and their forms."""
        page, wanted = self.frame.page, Permission.TRY_SHEET
        return [
            Route("/cases/{key}/trial", page(self.asked, wanted), methods=["GET"]),
            Route("/cases/{key}/trial", page(self.tried, wanted, files=len(FILES)),
                  methods=["POST"]),
            Route("/cases/{key}/trial/adoption", page(self.adopt, Permission.ADOPT_SHEET),
                  methods=["POST"]),
            Route("/cases/{key}/trial/drop", page(self.drop, wanted), methods=["POST"]),
        ]

    async def asked(self, request: Request, who: SignedIn) -> Response:
        """Ask for a sheet."""
        return await self._page(request, who, None, None)

    async def tried(self, request: Request, who: SignedIn) -> Response:
        """Show what a sheet makes of the case; where it can't be judged by, say why."""
        typed = {name: str(request.state.form.get(name) or "") for name in FILES}
        try:
            typed |= await _files(request.state.form)
            form = SheetForm(**typed)
            trial = await self.frame.do(self.desk.try_sheet, who, places(request)["key"], form)
        except DatabaseLost:
            raise
        except Problem as problem:
            return await self._page(request, who, typed, None, problem.sentence, 422)
        return await self._page(request, who, form, trial)

    async def adopt(self, request: Request, who: SignedIn) -> Response:
        """Adopt the sheet that was tried; where another verdict counts since, show both again."""
        key, form = places(request)["key"], filled(AdoptionForm, request.state.form)
        try:
            view: CaseView = await self.frame.do(self.desk.adopt_sheet, who, key, form)
        except Outdated:
            trial = await self.frame.do(self.desk.try_sheet, who, key, SheetForm(
                sheet=form.sheet, columns=form.columns))
            return await self._page(request, who, form, trial, desk_labels.ADOPT_OUTDATED, 409)
        except DatabaseLost:
            raise
        except Problem as problem:
            return await self._page(request, who, form, None, problem.sentence, 422)
        return back_to(f"/cases/{view.material.listed.case_key}")

    async def drop(self, request: Request, who: SignedIn) -> Response:
        """Drop the sheet that was tried."""
        key = places(request)["key"]
        await self.frame.do(self.desk.drop_sheet, who, key,
                            filled(AdoptionForm, request.state.form))
        return back_to(f"/cases/{key}")

    async def _page(self, request: Request, who: SignedIn, typed: Any,
                    trial: SheetTrial | None, said: str = "", status: int = 200) -> Response:
        view = await run_in_threadpool(lambda: self.desk.case(
            who.actor, self.desk.resolve(who.actor, places(request)["key"])))
        return self.frame.render(request, "trial.html", {
            "view": view, "typed": typed, "trial": trial, "said": said,
            "reason": getattr(typed, "reason", "")}, status)


async def _files(form: FormData) -> dict[str, str]:
    """Return the files that were chosen, as text by field."""
    given = {}
    for name in FILES:
        sent = form.get(f"{name}_file")
        if isinstance(sent, UploadFile) and sent.filename:
            try:
                given[name] = (await sent.read()).decode("utf-8-sig")
            except UnicodeDecodeError:
                raise Problem("the file is no text in UTF-8", desk_labels.SHEET if name == "sheet"
                              else desk_labels.COLUMNS_FILE, "save it as UTF-8") from None
            finally:
                await sent.close()
    return given
