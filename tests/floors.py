"""A named floor for a benchmark: the least that the same work must cost, same run."""

import gc
import sys
import timeit


def against(benchmark, name, floor, *args, repeat=7):
    """Print the benchmark's best time as a ratio to the best time of *floor*.

    The ratio is kept with the benchmark too; nothing is asserted, for a busy machine
    must not fail a suite. Without ``--benchmark-enable`` nothing is timed. Rubbish is
    collected as it falls in both, which ``timeit`` by itself would leave lying.
    """
    if benchmark.stats is None:
        return

    def once():
        return floor(*args)

    number = max(1, int(0.02 / timeit.timeit(once, number=1)))
    best = min(timeit.repeat(once, gc.enable, number=number, repeat=repeat)) / number
    ours = benchmark.stats.stats.min
    ratio = ours / best
    benchmark.extra_info["floor"] = name
    benchmark.extra_info["ratio"] = round(ratio, 2)
    beside = f"{ratio:.2f} x {name} ({best * 1e3:.3f} ms)"
    sys.stderr.write(f"\n{benchmark.name}: {ours * 1e3:.3f} ms, {beside}\n")
