"""Many walls with dask: colour of the cladding by orientation, a few numbers of each, in parallel.

Run it in any folder; needs the extra `cluster`: `pip install '.[cluster]'` in a copy of the project. On a cluster give
its address to Client. Wall and climate are fictitious; one month stands for the year, to be quick.
"""

from dataclasses import replace

import pandas as pd
from dask.distributed import Client, LocalCluster

import cavity
from cavity.wallfile import parse_wall, starter
from cavity.wallfile.model import Wall


def numbers(wall: Wall, climate: str, hours: int) -> dict[str, float]:
    """Return the numbers needed of one wall: these, not the whole Dataset, are sent back."""
    result = cavity.simulate(wall, cavity.read_weather(climate), opening_set="10 mm slots", hours=hours)
    wet = (result["dew_point_margin"] < 0.0).any(["segment", "face"])
    return {
        "facing": wall.orientation,
        "sun absorbed": wall.solar_absorptance,
        "air changes per hour": float(result["air_change_rate"].median()),
        "hours with dew somewhere": float(wet.sum()),
    }


if __name__ == "__main__":
    base = parse_wall(starter(), "starter")
    walls = [
        replace(base, orientation=facing, solar_absorptance=colour) for facing in (0.0, 225.0) for colour in (0.3, 0.9)
    ]
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster, Client(cluster) as client:
        futures = client.map(numbers, walls, climate="temperate inland", hours=31 * 24)
        table = pd.DataFrame(client.gather(futures))
    table.to_csv("many_walls.csv", index=False)
    print(table.to_string(index=False))
