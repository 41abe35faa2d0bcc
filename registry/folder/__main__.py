import sys

import registry.threads  # noqa: F401 - before NumPy is loaded
from registry.folder.command import main

sys.exit(main())
