"""Whether this machine can set a sheet as PDF; the libraries for it are system packages, not Python's."""

from __future__ import annotations

from jobs.sheets import render


def missing() -> str:
    """One sentence that names the Debian packages to install, or nothing when PDFs can be made."""
    if render.available():
        return ""
    return f"Sheets are pages to print, not PDFs, until these are installed: apt-get install {render.SYSTEM_PACKAGES}"
