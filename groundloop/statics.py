"""Static files under hashed names, module imports rewritten too; a missing file fails loudly."""

from __future__ import annotations

from whitenoise.storage import CompressedManifestStaticFilesStorage


class Storage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # the package has no types
    """Hashes the imports of ES modules as well, so that a new version never mixes with an old one."""

    support_js_module_import_aggregation = True
