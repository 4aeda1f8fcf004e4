"""``python -m winchsim``: the same as the command ``winchsim``."""

import sys

from winchsim.cli import main

sys.exit(main())
