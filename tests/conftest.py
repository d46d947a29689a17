"""What every test shares: how hard hypothesis tries.

`ci` tries the same examples on every run, so that a red run can be repeated; `dev` is quicker and looks somewhere new
each time. `HYPOTHESIS_PROFILE` chooses; else `ci` where the variable CI is set.
"""

import os

from hypothesis import settings

settings.register_profile("ci", derandomize=True, deadline=None, max_examples=200, print_blob=True)
settings.register_profile("dev", deadline=None, max_examples=50)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE") or ("ci" if os.environ.get("CI") else "dev"))
