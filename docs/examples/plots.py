"""Own plots from the Dataset: dew on the cladding by month and hour, and the air change rate through the year.

Run it in any folder; it writes plots.html. Wall and climate are fictitious.
"""

from plotly.subplots import make_subplots

import cavity
from cavity.wallfile import parse_wall, starter

wall = parse_wall(starter(), "starter")
result = cavity.simulate(wall, cavity.read_weather("cold humid"), opening_set="10 mm slots", depth=0.030)

# every variable has its unit and its time basis
for name in ("dew_point_margin", "air_change_rate"):
    print(name, result[name].dims, result[name].attrs["units"], result[name].attrs["cell_methods"])

margin = result["dew_point_margin"].sel(face="outer face").min("segment")  # base, middle or top, whichever is worst
stamp = margin["time"].dt
month, hour = stamp.month.rename("month"), stamp.hour.rename("hour")
wet = (margin < 0.0).assign_coords(month=month, hour=hour).groupby(["month", "hour"]).mean()
rate = result["air_change_rate"].groupby(month)
quartiles = rate.quantile([0.25, 0.5, 0.75], dim="time")

figure = make_subplots(
    rows=2, cols=1, subplot_titles=("Outer face of the cladding below the dew point", "Air change rate")
)
figure.add_heatmap(
    x=wet["month"].values, y=wet["hour"].values, z=100.0 * wet.transpose("hour", "month").values,
    colorbar={"title": "% of hours", "len": 0.45, "y": 0.8}, colorscale="Blues", row=1, col=1,
)  # fmt: skip
for part in quartiles["quantile"].values:
    line = quartiles.sel(quantile=part)
    figure.add_scatter(x=line["month"].values, y=line.values, name=f"{100 * part:.0f} % of hours below", row=2, col=1)
figure.update_yaxes(title="hour of the day", row=1, col=1)
figure.update_yaxes(title=f"air changes [{result['air_change_rate'].attrs['units']}]", type="log", row=2, col=1)
figure.update_xaxes(title="month", row=2, col=1)
figure.write_html("plots.html")
print(f"{100.0 * float((margin < 0.0).mean()):.1f} % of the year below the dew point")
