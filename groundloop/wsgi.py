from __future__ import annotations

from django.core.wsgi import get_wsgi_application

from groundloop import env

env.put_default("DJANGO_SETTINGS_MODULE", "groundloop.settings")
application = get_wsgi_application()
