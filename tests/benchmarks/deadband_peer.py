#!/usr/bin/env python3
"""The cases of deadband_bench.cc in NumPy: ns per pulse, as JSON.

One pass per width counts the changes of one trigger; sixteen widths are sixteen
passes over the same readings. The one-pass form keeps, between visits above the upper threshold, the
lowest reading, and answers for every width at once.
"""
import json
import time

import numpy

PULSES = 4_000_000
AVERAGED = 8
PASSES = 16
WIDTHS = 101


def timed(work):
    best = min(_once(work) for _ in range(3))
    return best / PULSES * 1e9


def _once(work):
    start = time.process_time()
    work()
    return time.process_time() - start


def readings(random):
    edges = random.standard_normal(PULSES + AVERAGED, dtype=numpy.float32)
    return (edges[AVERAGED:] - edges[:-AVERAGED]) / numpy.float32(2**0.5)


def changes(x, width):
    """Of a trigger whose deadband is `width` wide, its middle at the mean."""
    sides = numpy.where(x >= width / 2, 1, 0) - numpy.where(x < -width / 2, 1, 0)
    sides = sides[sides != 0]
    return int(numpy.count_nonzero(sides[1:] != sides[:-1]))


def passes(x, narrowest):
    return [changes(x, narrowest * (1 + 0.1 * k)) for k in range(PASSES)]


def all_widths(x, upper):
    above = numpy.flatnonzero(x >= upper)
    lowest = numpy.minimum.reduceat(x, above) if len(above) else numpy.empty(0)
    return numpy.cumsum(numpy.histogram(upper - lowest, bins=WIDTHS)[0][::-1])[::-1]


def main():
    random = numpy.random.default_rng(1)
    ns = {"normals": timed(lambda: random.standard_normal(PULSES, dtype=numpy.float32))}
    for name, width in (("rare", 5.0), ("frequent", 0.25)):
        ns[f"{name}_passes"] = timed(lambda: passes(readings(random), width))
        ns[f"{name}_one_pass"] = timed(lambda: all_widths(readings(random), width / 2))
    print(json.dumps(ns))


if __name__ == "__main__":
    main()
