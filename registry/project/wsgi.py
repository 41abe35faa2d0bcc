"""The WSGI entry that the production server loads."""

import gc
import os
from importlib import import_module

from django.conf import settings
from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.project.settings")
application = get_wsgi_application()

# What is loaded now stays as long as the process does: looking for garbage passes it by from here on.
import_module(settings.ROOT_URLCONF)
gc.collect()
gc.freeze()
