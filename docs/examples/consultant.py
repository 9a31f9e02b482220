"""A consultant's comparison: which vents and depth, how far from the limit, and how it changes with orientation.

Run it in an empty folder; it writes wall.toml and report.html. Wall and climate are fictitious.
"""

from dataclasses import replace

import cavity
from cavity.wallfile.starter import write_starter

write_starter("wall.toml", force=True)  # for a real job: the wall file and the weather of the place
wall = cavity.read_wall("wall.toml")
weather = cavity.read_weather("cool marine")

# the brief: two sets of vents, two depths, the wall faces south-west or north
sets = [each for each in wall.opening_sets if each.name in ("10 mm slots", "20 mm slots, upright rails")]
wall = replace(wall, opening_sets=tuple(sets), depths=(0.020, 0.040))
comparison = cavity.compare(wall, weather, facings="SW,N", confidence=False)

for case in comparison.cases:
    worst, shown = case.worst, case.worst.shown
    air = float(case.dataset["air_change_rate"].median())
    print(
        f"{case.orientation:3.0f} degrees, {case.opening_set}, {1000 * case.depth:.0f} mm: {worst.status}, "
        f"{worst.title} {shown.value:.3g} (limit {shown.limit:.3g} {shown.units}); {air:.0f} air changes per hour"
    )
print(cavity.write_report(comparison, "report.html"))
