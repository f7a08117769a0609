"""What is loaded only once it is asked for, one thread at a time.

Two threads that each begin to load modules which the other's need wait for each other, and Python ends that by handing
one of them a half-loaded module. So whatever a thread of the desk loads first, it loads `with LOADING`.
"""

from __future__ import annotations

import threading

LOADING = threading.RLock()
