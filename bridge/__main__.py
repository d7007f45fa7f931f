"""`python -m bridge` is the same command as `tetherlight`."""

import sys

from bridge.cli import main

sys.exit(main())
