from __future__ import annotations

from django.core.wsgi import get_wsgi_application

from groundloop import env

env.put_default("DJANGO_SETTINGS_MODULE", "groundloop.settings")
application = get_wsgi_application()

from groundloop.one_process import refuse_gunicorn  # noqa: E402  (settings are read only now)

refuse_gunicorn()
