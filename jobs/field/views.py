"""The shell, its worker and its manifest: open to everybody, with nothing of anybody in them."""

from __future__ import annotations

import json

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils.cache import patch_vary_headers
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from jobs.field import assets


def _packed(request: HttpRequest, text: str, kind: str) -> HttpResponse:
    """As small as this browser takes it: the phone may be far out."""
    taken = request.headers.get("Accept-Encoding", "")
    encoding = next((one for one in assets.PACKERS if one in taken), "")
    answer = HttpResponse(assets.packed(text, encoding), content_type=f"{kind}; charset=utf-8")
    if encoding:
        answer["Content-Encoding"] = encoding
    patch_vary_headers(answer, ["Accept-Encoding"])
    return answer


@require_safe
@cache_control(no_cache=True)
def shell(request: HttpRequest) -> HttpResponse:
    return _packed(request, assets.shell(), "text/html")


@require_safe
@cache_control(no_cache=True)
def worker(request: HttpRequest) -> HttpResponse:
    context = {
        "build": assets.build(),
        "assets": json.dumps(assets.urls()),
        "later": json.dumps(assets.later_urls(), separators=(",", ":")),
        "parcel": reverse("field:parcel"),
        "shell": reverse("field:shell"),
    }
    return _packed(request, render_to_string("field/sw.js", context), "text/javascript")


@require_safe
@cache_control(no_cache=True)
def parcel(request: HttpRequest) -> HttpResponse:
    """The later scripts in one piece; the worker takes it only with just the addresses that its own build names."""
    return _packed(request, assets.parcel(), "text/plain")


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
