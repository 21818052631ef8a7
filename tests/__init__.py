"""The tests. One numeric thread each: two workers with two threads each get in each other's way."""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
