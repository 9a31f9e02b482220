"""The table of result and weather variables: name, units, long name, dims, bounds, time basis.

Rules: SI throughout; `time` is the START of each hour, local standard time, no daylight saving; values
are means over that hour unless `cell_methods` says "time: point" (the state at the END of the hour). Layers, surfaces
and fluxes run from outside to inside; heat and vapour fluxes are positive inwards; air flows are positive upwards in the
cavity and positive into the cavity at an opening; heights are above the base of the wall.
"""

from __future__ import annotations

from dataclasses import dataclass

MEAN = "time: mean"
POINT = "time: point"
SUM = "time: sum"


@dataclass(frozen=True)
class Variable:
    """One row of the table; `label` is the axis title, `lower` / `upper` physical bounds in SI."""

    name: str
    units: str
    long_name: str
    dims: tuple[str, ...]
    lower: float
    upper: float
    label: str
    cell_methods: str = MEAN


_T = ("time",)
_TS = ("time", "segment")
_TSF = ("time", "segment", "face")
_TSW = ("time", "segment", "film_face")
_TSL = ("time", "segment", "layer")
_TSA = ("time", "segment", "stream_term")
_TO = ("time", "opening")
_TSR = ("time", "segment", "rail_spot")  # only in the result of a wall with metal rails through a layer
_BIG = 1e30

_ROWS = (
    # weather as read
    Variable("temperature_outdoor", "K", "outdoor air temperature", _T, 173.0, 343.0, "Outdoor temperature"),
    Variable("relative_humidity_outdoor", "1", "outdoor relative humidity", _T, 0.0, 1.0, "Outdoor relative humidity"),
    Variable("vapour_pressure_outdoor", "Pa", "outdoor water vapour pressure", _T, 0.0, 2e4, "Outdoor vapour pressure"),
    Variable("pressure", "Pa", "atmospheric pressure", _T, 4e4, 1.15e5, "Air pressure"),
    Variable("wind_speed", "m/s", "wind speed at the weather station, 10 m", _T, 0.0, 80.0, "Wind speed"),
    Variable(
        "wind_direction",
        "degree",
        "direction the wind comes from, clockwise from north",
        _T,
        0.0,
        360.0,
        "Wind direction",
    ),
    Variable(
        "global_horizontal", "W/m2", "global horizontal irradiance", _T, 0.0, 1500.0, "Global horizontal irradiance"
    ),
    Variable("direct_normal", "W/m2", "direct normal irradiance", _T, 0.0, 1500.0, "Direct normal irradiance"),
    Variable(
        "diffuse_horizontal", "W/m2", "diffuse horizontal irradiance", _T, 0.0, 1500.0, "Diffuse horizontal irradiance"
    ),
    Variable(
        "infrared_horizontal",
        "W/m2",
        "longwave irradiance of the sky on a horizontal plane",
        _T,
        20.0,
        700.0,
        "Longwave sky irradiance",
    ),
    Variable("rain", "kg/(m2 s)", "precipitation on a horizontal plane, snow melted", _T, 0.0, 0.1, "Precipitation"),
    # weather on the wall
    Variable("sun_on_wall", "W/m2", "solar irradiance on the wall plane", _T, 0.0, 1500.0, "Sun on the wall"),
    Variable("sky_temperature", "K", "black-body temperature of the sky", _T, 120.0, 343.0, "Sky temperature"),
    Variable(
        "wind_speed_site",
        "m/s",
        "wind speed at the height of the building on the site",
        _T,
        0.0,
        120.0,
        "Wind speed at the roof",
    ),
    Variable(
        "wind_angle",
        "degree",
        "angle between the wind and the wall normal, 0 = head on",
        _T,
        -180.0,
        180.0,
        "Wind angle",
    ),
    Variable(
        "driving_rain", "kg/(m2 s)", "driving rain that reaches the wall, without snow", _T, 0.0, 0.1, "Driving rain"
    ),
    # indoors
    Variable("temperature_indoor", "K", "indoor air temperature", _T, 233.0, 343.0, "Indoor temperature"),
    Variable("relative_humidity_indoor", "1", "indoor relative humidity", _T, 0.0, 1.0, "Indoor relative humidity"),
    # air in the cavity
    Variable(
        "air_change_rate",
        "1/h",
        "outdoor air that enters the cavity per hour, divided by the volume of the column",
        _T,
        0.0,
        _BIG,
        "Air change rate",
    ),
    Variable(
        "compartment_air_change_rate",
        "1/h",
        "air that enters the compartment per hour, from outdoors or past a barrier, divided by its volume",
        ("time", "compartment"),
        0.0,
        _BIG,
        "Air change rate",
    ),
    Variable("air_speed", "m/s", "mean air speed in the cavity, positive upwards", _TS, -100.0, 100.0, "Air speed"),
    Variable(
        "stack_pressure",
        "Pa",
        "driving pressure by density difference between the lowest and the highest opening, positive upwards",
        _T,
        -1e4,
        1e4,
        "Stack pressure",
    ),
    Variable(
        "wind_pressure",
        "Pa",
        "driving pressure by wind between the lowest and the highest opening, positive upwards",
        _T,
        -1e5,
        1e5,
        "Wind pressure",
    ),
    Variable(
        "opening_flow",
        "kg/(m s)",
        "air flow through the opening per metre of wall length, positive into the cavity",
        _TO,
        -_BIG,
        _BIG,
        "Air flow through the opening",
    ),
    Variable(
        "part_pressure",
        "Pa",
        "pressure lost at each part of the air path, by size",
        ("time", "part"),
        0.0,
        1e5,
        "Pressure lost",
    ),
    Variable(
        "part_gain",
        "1",
        "gain in air that enters if the part and its equals were doubled, at the same drive",
        ("part",),
        0.0,
        100.0,
        "Gain in flow if doubled",
    ),
    Variable("cavity_temperature", "K", "air temperature in the cavity", _TS, 173.0, 503.0, "Cavity air temperature"),
    Variable(
        "cavity_vapour_pressure", "Pa", "vapour pressure of the cavity air", _TS, 0.0, 1.15e5, "Cavity vapour pressure"
    ),
    Variable(
        "cavity_fog",
        "kg/m3",
        "water the cavity air carries beyond saturation, as droplets",
        _TS,
        0.0,
        1.0,
        "Fog in the cavity",
    ),
    Variable(
        "cavity_relative_humidity",
        "1",
        "relative humidity of the cavity air",
        _TS,
        0.0,
        1.0,
        "Cavity relative humidity",
    ),
    # every surface and interface
    Variable("temperature", "K", "temperature at the surface or interface", _TSF, 173.0, 503.0, "Temperature"),
    Variable(
        "relative_humidity", "1", "relative humidity at the surface or interface", _TSF, 0.0, 1.0, "Relative humidity"
    ),
    Variable(
        "vapour_pressure", "Pa", "vapour pressure at the surface or interface", _TSF, 0.0, 1.15e5, "Vapour pressure"
    ),
    Variable(
        "dew_point",
        "K",
        "dew point of the air next to the surface, or of the vapour at an interface",
        _TSF,
        100.0,
        503.0,
        "Dew point",
    ),
    Variable(
        "dew_point_margin",
        "K",
        "temperature minus dew point; below zero water condenses",
        _TSF,
        -100.0,
        200.0,
        "Dew-point margin",
    ),
    # cold spots of metal rails through a layer
    Variable(
        "rail_temperature",
        "K",
        "temperature at the cold spot of metal rails through a layer",
        _TSR,
        173.0,
        503.0,
        "Temperature at the rails",
    ),
    Variable(
        "rail_dew_point_margin",
        "K",
        "temperature at the cold spot of rails minus the dew point at the same surface; below zero water condenses",
        _TSR,
        -100.0,
        200.0,
        "Dew-point margin at the rails",
    ),
    # line through the studs, only with [run] stud_line
    Variable(
        "stud_temperature", "K", "temperature at the surface, at a stud", _TSF, 173.0, 503.0, "Temperature at the studs"
    ),
    Variable(
        "stud_relative_humidity",
        "1",
        "relative humidity at the surface, at a stud",
        _TSF,
        0.0,
        1.0,
        "Relative humidity at the studs",
    ),
    Variable(
        "stud_dew_point_margin",
        "K",
        "temperature minus dew point at the surface, at a stud; below zero water condenses",
        _TSF,
        -100.0,
        200.0,
        "Dew-point margin at the studs",
    ),
    # water
    Variable("water", "kg/m2", "water held in the layer", _TSL, 0.0, 1e4, "Water in the layer", POINT),
    # films: on the four surfaces (dimension film_face), and the same at every surface and interface (dimension face)
    Variable("film", "kg/m2", "water or frost held as a film on the surface", _TSW, 0.0, 200.0, "Film", POINT),
    Variable("frost_share", "1", "frozen fraction of the film", _TSW, 0.0, 1.0, "Frozen fraction", POINT),
    Variable(
        "vapour_flow",
        "kg/(m2 s)",
        "vapour flow through the surface, positive inwards: at surfaces on the room side positive where the wall dries",
        _TSW,
        -1.0,
        1.0,
        "Vapour flow through the surface",
    ),
    Variable(
        "condensation",
        "kg/(m2 s)",
        "change of the film by vapour: positive where dew forms, negative where the film dries",
        _TSW,
        -1.0,
        1.0,
        "Condensation rate",
    ),
    Variable("runoff", "kg/(m2 s)", "water that runs off the surface", _TSW, 0.0, 1.0, "Run-off"),
    Variable(
        "face_film",
        "kg/m2",
        "water or frost held as a film at the surface or interface",
        _TSF,
        0.0,
        200.0,
        "Film",
        POINT,
    ),
    Variable(
        "face_frost_share",
        "1",
        "frozen fraction of the film at the surface or interface",
        _TSF,
        0.0,
        1.0,
        "Frozen fraction",
        POINT,
    ),
    Variable(
        "film_by_vapour",
        "kg/(m2 s)",
        "change of the film by vapour: positive where dew or frost forms, negative where the film dries",
        _TSF,
        -1.0,
        1.0,
        "Film change by vapour",
    ),
    Variable("film_by_rain", "kg/(m2 s)", "growth of the film by rain", _TSF, -1.0, 1.0, "Film change by rain"),
    Variable(
        "film_by_capillarity",
        "kg/(m2 s)",
        "change of the film by liquid water of the adjacent layers: negative where they absorb it",
        _TSF,
        -1.0,
        1.0,
        "Film change by capillarity",
    ),
    Variable(
        "drainage",
        "kg/(m2 s)",
        "liquid water beyond what the surface, interface or layer can hold, which leaves the model there",
        _TSF,
        0.0,
        1.0,
        "Drainage",
    ),
    Variable(
        "water_end_of_year",
        "kg/m2",
        "water held in the layer at the end of each simulated year",
        ("year", "segment", "layer"),
        0.0,
        1e4,
        "Water in the layer",
        POINT,
    ),
    Variable(
        "film_end_of_year",
        "kg/m2",
        "water or frost held as a film at the surface or interface at the end of each simulated year",
        ("year", "segment", "face"),
        0.0,
        200.0,
        "Film",
        POINT,
    ),
    Variable(
        "water_at_start",
        "kg/m2",
        "water held in the layer when the first year starts",
        ("segment", "layer"),
        0.0,
        1e4,
        "Water in the layer",
        POINT,
    ),
    # balances, per m2 of wall
    Variable(
        "water_balance",
        "kg/m2",
        "water of the last year by term, positive into the wall and its films; stored closes it",
        ("balance_term", "segment"),
        -_BIG,
        _BIG,
        "Water over the year",
        SUM,
    ),
    Variable(
        "heat_flux_indoor",
        "W/m2",
        "heat flux through the interior surface, positive inwards: into the room",
        _TS,
        -1e4,
        1e4,
        "Heat flux into the room",
    ),
    Variable(
        "water_residual",
        "kg/m2",
        "running water balance error: in - out - stored",
        _TS,
        -1.0,
        1.0,
        "Water balance error",
        POINT,
    ),
    Variable(
        "energy_residual",
        "J/m2",
        "running energy balance error: in - out - stored",
        _TS,
        -1e9,
        1e9,
        "Energy balance error",
        POINT,
    ),
    # balance of the air in each segment, per m2 of wall; in and out as excess over outdoor air
    Variable(
        "stream_heat",
        "W/m2",
        "heat of the cavity air by term, positive into the air of the segment, without that of the vapour",
        _TSA,
        -1e6,
        1e6,
        "Heat of the cavity air",
    ),
    Variable(
        "stream_vapour",
        "kg/(m2 s)",
        "vapour of the cavity air by term, positive into the air of the segment",
        _TSA,
        -10.0,
        10.0,
        "Vapour of the cavity air",
    ),
    Variable(
        "stream_heat_residual",
        "W/m2",
        "heat balance error of the cavity air: in - out + released by the two surfaces",
        _TS,
        -1e6,
        1e6,
        "Heat balance error of the cavity air",
    ),
    Variable(
        "stream_vapour_residual",
        "kg/(m2 s)",
        "vapour balance error of the cavity air: in - out + released by the two surfaces",
        _TS,
        -10.0,
        10.0,
        "Vapour balance error of the cavity air",
    ),
)

TABLE: dict[str, Variable] = {row.name: row for row in _ROWS}


def attributes(name: str, source: str = "") -> dict[str, str]:
    """Return the attributes of a result variable: units, long name, cell methods, and its source if given.

    Parameters
    ----------
    name : str
        A name of the table.
    source : str
        Function or file the values come from.

    Returns
    -------
    dict of str
        Text only, fit for NetCDF.
    """
    row = TABLE[name]
    attrs = {"units": row.units, "long_name": row.long_name, "cell_methods": row.cell_methods}
    if source:
        attrs["source"] = source
    return attrs
