"""The pages of the sums: the list, and one page for each. A result is an address: it can be kept, printed and sent on."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from jobs.firms.access import MemberRequest, member_view
from jobs.sums.forms import ON_PAGE, SumForm
from jobs.sums.questions import by_moment
from jobs.sums.questions.base import Question

# A press on another choice of the switch: the form comes back with its fields, nothing is worked out yet.
SWITCH = "show"


@member_view(own_scope=True)
@require_safe
def index(request: MemberRequest) -> HttpResponse:
    return render(request, "sums/index.html", {"moments": by_moment()})


def page_of(question: Question) -> Callable[[HttpRequest], HttpResponseBase]:
    """The view of one sum."""

    @member_view(own_scope=True)
    @require_safe
    def page(request: MemberRequest) -> HttpResponse:
        form = _form(question, request)
        if form.is_bound:
            form.work_out()
        example = question.example_for(form.switched)
        context = {
            "question": question, "form": form, "answer": form.result, "switch": SWITCH,
            "example": example, "example_query": urlencode(example.given),
        }  # fmt: skip
        return render(request, "sums/sum.html", context)

    return page


def _form(question: Question, request: HttpRequest) -> SumForm:
    """Bound when something was asked; after a switch only filled with what was typed."""
    sent = {name: value for name, value in request.GET.items() if isinstance(value, str)}
    if SWITCH in sent:
        return SumForm(question, initial={**sent, question.switch: sent[SWITCH]}, at_most=ON_PAGE)
    names = {each.name for each in question.fields}
    return SumForm(question, sent if names & set(sent) else None, initial={}, at_most=ON_PAGE)
