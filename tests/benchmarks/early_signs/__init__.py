"""Slow failures before their alarms. `engine` comes first, for it keeps numpy to one thread."""

import engine  # noqa: F401
