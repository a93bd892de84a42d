"""The desk: board, week, job page, background work."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from jobs.firms import clock
from jobs.firms.access import MemberRequest, member_view
from jobs.firms.errors import Refused
from jobs.firms.models import Role
from jobs.office import access, page, queries
from jobs.planning.models import JobState
from jobs.reminders.queries import open_reminders
from jobs.sheets import actions as sheets
from jobs.work import actions as work_actions
from jobs.work import queries as work_queries
from jobs.work.access import work_for

DESK = (Role.SCHEDULER, Role.MANAGER)
JOBS_PER_PAGE = 40


@require_GET
@member_view()
def board(request: MemberRequest) -> HttpResponse:
    """All open jobs, what each waits for, and three numbers on top."""
    if not request.member.works_at_desk:
        return redirect("field:shell")
    at = clock.now()
    sheets.catch_up_all(at=at)
    text, show = request.GET.get("q", "").replace("\x00", "").strip(), request.GET.get("show", "open")
    if show not in {"open", "all", *JobState.values}:
        show = "open"
    jobs = Paginator(queries.jobs_found(text, show=show), JOBS_PER_PAGE).get_page(request.GET.get("page"))
    due = open_reminders(request.member, at=at)
    context = {
        "reminders": due,
        "rows": queries.board_rows(list(jobs.object_list), due=due, today=_today(request, at)),
        "jobs": jobs,
        "counts": queries.board_counts(due),
        "q": text,
        "show": show,
        "states": JobState.choices,
    }
    return render(request, "office/board.html", context)


@require_GET
@member_view(*DESK)
def week(request: MemberRequest) -> HttpResponse:
    """One week of visits with their crews; prints for the yard wall."""
    today = _today(request, clock.now())
    monday = _monday(request.GET.get("from", ""), today)
    context = {
        "days": queries.week(monday),
        "unbooked": queries.unbooked(),
        "monday": monday,
        "before": monday - timedelta(days=7),
        "after": monday + timedelta(days=7),
        "today": today,
    }
    return render(request, "office/week.html", context)


def _today(request: MemberRequest, at: datetime) -> date:
    """The day on the firm's own calendar."""
    return at.astimezone(ZoneInfo(request.member.firm.time_zone)).date()


def _monday(text: str, today: date) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = today
    if not today.year - 50 < day.year < today.year + 50:
        day = today
    return day - timedelta(days=day.weekday())


@require_GET
@member_view()
def job(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Everything about one job on one page."""
    found = access.job_to_see(pk)
    if sheets.catch_up(found):
        found = access.job_to_see(pk)
    return render(request, "office/job.html", page.job_page(found, request.member, at=clock.now()))


@require_GET
@member_view(*DESK)
def background(request: MemberRequest) -> HttpResponse:
    """What the service still has to make, and what it gave up."""
    firm = request.member.firm_id
    context = {"waiting": work_queries.waiting(firm), "parked": work_queries.parked(firm)}
    return render(request, "office/background.html", context)


@require_POST
@member_view(*DESK)
def work_again(request: MemberRequest, pk: UUID) -> HttpResponse:
    """Lets a given-up work be tried once more."""
    work = work_for(request.member, pk)
    try:
        work_actions.try_again(work, by=request.member, at=clock.now())
        work_actions.nudge()
        messages.success(request, "It will be tried again now.")
    except Refused as refused:
        messages.error(request, str(refused))
    return redirect("office:background")
