"""The shell, its worker and its manifest: open to everybody, with nothing of anybody in them."""

from __future__ import annotations

import json

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from jobs.field import assets


@require_safe
@cache_control(no_cache=True)
def shell(_request: HttpRequest) -> HttpResponse:
    return HttpResponse(assets.shell())


@require_safe
@cache_control(no_cache=True)
def worker(request: HttpRequest) -> HttpResponse:
    context = {
        "build": assets.build(),
        "assets": json.dumps(assets.urls()),
        "shell": reverse("field:shell"),
    }
    return render(request, "field/sw.js", context, content_type="text/javascript; charset=utf-8")


@require_safe
@cache_control(no_cache=True)
def manifest(_request: HttpRequest) -> JsonResponse:
    start = reverse("field:shell")
    return JsonResponse(
        {
            "name": "Groundloop, on site",
            "short_name": "On site",
            "id": start,
            "start_url": start,
            "scope": start,
            "display": "standalone",
            "background_color": "#ffffff",
            "theme_color": "#ffffff",
            "icons": [{"src": static(assets.ICON), "sizes": "any", "type": "image/svg+xml", "purpose": "any"}],
        },
        content_type="application/manifest+json",
    )
