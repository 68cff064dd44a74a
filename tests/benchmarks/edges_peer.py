"""NumPy's nanoseconds per edge for the expression of edges_bench's ramp."""
import time
import timeit

import numpy as np

EDGES = 4_000_000
HZ, HZ_PER_S = 100.0, 7.5
k = np.arange(EDGES, dtype=np.float64)


def ramp():
    return np.rint(2e9 * k / (HZ + np.sqrt(HZ * HZ + 2 * HZ_PER_S * k))).astype(np.int64)


best = min(timeit.repeat(ramp, timer=time.process_time, number=1, repeat=5))
print(best / EDGES * 1e9)
