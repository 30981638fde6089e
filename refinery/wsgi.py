"""The door for an application server: gunicorn refinery.wsgi"""

import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application

from refinery import embedded

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "refinery.settings")
if settings.EMBEDDED_DATABASE:
    embedded.start(settings.CUSTODY_HOME)
application = get_wsgi_application()
