"""The other side of `bench forecast`: paths of use sampled with numpy, all of a site at once.

Reads one question a line (JSON): tanks with their litres a day, volumes and days of change, doses by tank and product. It
answers with so many sampled paths' mean use of 28 days over all products, how often a second, and the most memory it held.
What it is asked was known when the records were made: nothing is learnt here, and nothing is ordered.
"""

import json
import resource
import sys
import time

import numpy

random = numpy.random.default_rng(1)


def sampled(asked):
    """Use until the end of each day at the chances asked for, of each product; the mean use of 28 days, mL."""
    paths, days = asked["paths"], asked["days"]
    litres = numpy.array(asked["litres_a_day"])[:, None, None]
    volumes = numpy.array(asked["volumes_l"])[:, None, None]
    doses = numpy.array(asked["doses_ml_l"])
    tanks = len(volumes)
    spread = asked["log_spread"]
    taken = litres * numpy.exp(random.normal(-spread * spread / 2, spread, (tanks, paths, days)))
    changes = days // asked["change_every_days"] + 1
    slips = random.integers(0, asked["most_days_late"] + 1, (tanks, paths, changes))
    first = numpy.array(asked["next_change"])[:, None, None]
    on = first + numpy.cumsum(slips, axis=2) + numpy.arange(changes) * asked["change_every_days"]
    filled = numpy.zeros((tanks, paths, days + 1))
    numpy.put_along_axis(filled, numpy.minimum(on, days), 1.0, axis=2)
    taken += filled[:, :, :days] * volumes
    # One product of matrices for all tanks and products: (products × tanks) · (tanks × paths and days).
    used = (doses.T @ taken.reshape(tanks, paths * days)).reshape(-1, paths, days)
    until = numpy.cumsum(used, axis=2)
    quantiles = numpy.quantile(until, asked["chances"], axis=1)
    assert quantiles.shape[2] == days
    return float(until[:, :, 27].mean(axis=1).sum())


for line in sys.stdin:
    asked = json.loads(line)
    count, began, took = 0, time.perf_counter(), 0.0
    while took < asked["seconds"]:
        value = sampled(asked)
        count += 1
        took = time.perf_counter() - began
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6
    print(json.dumps({"per_second": count / took, "value": value, "peak_mb": peak_mb}), flush=True)
