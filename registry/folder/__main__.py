import sys

from registry.folder.command import main

sys.exit(main())
