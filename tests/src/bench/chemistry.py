"""The other side of `bench chemistry`: PHREEQC, through phreeqpython.

Reads one question a line (JSON), asks the library for so many seconds, and answers on a line how often a second it answered,
and what.
"""

import json
import sys
import time

import phreeqpython

# PHREEQC's own database, which is the faster of those that come with the library; it lacks the phase that holds a pH.
library = phreeqpython.PhreeqPython(database="phreeqc.dat")
library.ip.run_string("PHASES\nFix_pH\n  H+ = H+\n  log_k 0.0\nEND\n")


def recipe(asked):
    """Conductivity of a recipe whose pH is where its charges balance, mS/cm at 25 °C."""
    solution = library.add_solution({"units": "mmol/l", "temp": 25, "pH": "5 charge", **asked["totals_mmol_l"]})
    ec = solution.sc / 1000.0
    solution.forget()
    return ec


def acid(asked):
    """Hydrochloric acid that takes a water of calcium bicarbonate to a pH, mmol/L."""
    solution = library.add_solution({
        "units": "mmol/l",
        "temp": asked["temperature_c"],
        "pH": asked["ph"],
        "Ca": asked["alkalinity_meq_l"] / 2.0,
        "Alkalinity": asked["alkalinity_meq_l"],
    })
    solution.change_ph(asked["to_ph"], "HCl")
    dose = solution.total_element("Cl")
    solution.forget()
    return dose


for line in sys.stdin:
    asked = json.loads(line)
    answer = {"recipe": recipe, "acid": acid}[asked["what"]]
    count, began, took = 0, time.perf_counter(), 0.0
    while took < asked["seconds"]:
        value = answer(asked)
        count += 1
        took = time.perf_counter() - began
    print(json.dumps({"per_second": count / took, "value": value}), flush=True)
