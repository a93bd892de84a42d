"""The shell, its worker and its manifest: open to everybody, with nothing of anybody in them."""

from __future__ import annotations

import json

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils.cache import patch_vary_headers
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from jobs.field import assets, parcel

FOREVER_S = 365 * 24 * 3600


@require_safe
@cache_control(no_cache=True)
def shell(request: HttpRequest) -> HttpResponse:
    return _pressed(request, assets.shell().encode(), "text/html; charset=utf-8")


@require_safe
@cache_control(no_cache=True)
def worker(request: HttpRequest) -> HttpResponse:
    context = {
        "build": assets.build(),
        "assets": json.dumps(assets.single_urls()),
        "parcel": reverse("field:parcel", args=[parcel.seal(parcel.packed())]),
        "shell": reverse("field:shell"),
    }
    body = render_to_string("field/sw.js", context).encode()
    return _pressed(request, body, "text/javascript; charset=utf-8")


@require_safe
@cache_control(public=True, max_age=FOREVER_S, immutable=True)
def later(request: HttpRequest, seal: str) -> HttpResponse:
    """The parcel of this build, by its own seal; that of another build is not here any more, or not yet."""
    body = parcel.packed()
    if seal != parcel.seal(body):
        raise Http404
    return _pressed(request, body, "text/plain; charset=utf-8")


def _pressed(request: HttpRequest, body: bytes, kind: str) -> HttpResponse:
    """Brotli or gzip, as the phone can read it. Nothing of anybody is in these answers, so that pressing tells nobody anything."""
    asked = request.headers.get("Accept-Encoding", "").replace(" ", "").split(",")
    accepted = {each.partition(";")[0] for each in asked if not each.endswith(";q=0")}
    encoding = next((each for each in ("br", "gzip") if each in accepted), "")
    response = HttpResponse(parcel.pressed(body, encoding) if encoding else body, content_type=kind)
    if encoding:
        response["Content-Encoding"] = encoding
    patch_vary_headers(response, ["Accept-Encoding"])
    return response


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
