"""Room climate models against the published rules they implement."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from cavity.errors import InputError
from cavity.wall import indoor, saturation
from cavity.wallfile.model import Indoor

HOURS = np.arange("2021-01-01", "2022-01-01", dtype="datetime64[h]").astype("datetime64[ns]")


def weather(celsius=5.0, vapour=700.0, hours=HOURS):
    return xr.Dataset(
        {
            "temperature_outdoor": ("time", np.broadcast_to(np.asarray(celsius, float) + 273.15, hours.shape)),
            "vapour_pressure_outdoor": ("time", np.broadcast_to(np.asarray(vapour, float), hours.shape)),
        },
        coords={"time": hours},
    )


@pytest.mark.parametrize(
    ("outdoor", "load", "temperature", "humidity"),
    [  # EN 15026:2007 Annex C, from memory: 5 degC gives 20 degC and 45 % (normal) or 55 % (high)
        (5, "normal", 20.0, 0.45),
        (5, "high", 20.0, 0.55),
        (-30, "normal", 20.0, 0.30),
        (15, "normal", 22.5, 0.55),
        (35, "high", 25.0, 0.70),
    ],
)
def test_en_15026_annex_c(outdoor, load, temperature, humidity):
    found, moist = indoor.indoor_climate(Indoor(load=load), weather(outdoor))
    assert found.shape == moist.shape == HOURS.shape
    # exact rule, only rounding of the running sum
    np.testing.assert_allclose(found - 273.15, temperature, rtol=0, atol=1e-7)
    np.testing.assert_allclose(moist, humidity, rtol=0, atol=1e-9)


@pytest.mark.parametrize(
    ("outdoor", "temperature", "humidity"),
    [  # ASHRAE 160 simplified method, from memory
        (-15, 21.1, 0.40),
        (0, 21.1, 0.50),
        (20, 22.8, 0.70),
        (30, 23.9, 0.70),
    ],
)
def test_ashrae_160_simplified(outdoor, temperature, humidity):
    found, moist = indoor.indoor_climate(Indoor(model="ASHRAE 160"), weather(outdoor))
    np.testing.assert_allclose(found - 273.15, temperature, rtol=0, atol=1e-7)  # exact rule
    np.testing.assert_allclose(moist, humidity, rtol=0, atol=1e-9)


def test_ashrae_160_intermediate_by_hand():
    # 3 bedrooms 1.6e-4 kg/s, 0.2 1/h of 500 m3 = 0.027778 m3/s: excess 1.36e5 * 1.6e-4 / 0.027778 = 783.36 Pa
    case = Indoor(model="ASHRAE 160 intermediate", bedrooms=3, air_changes=0.2, volume=500.0)
    found, moist = indoor.indoor_climate(case, weather(0.0, 500.0))
    expected = (500.0 + 783.36) / float(saturation.saturation_pressure(294.25))
    np.testing.assert_allclose(moist, expected, rtol=1e-6)  # hand figure has six digits
    assert found[0] == pytest.approx(294.25)


# kg/s: 8, 12, 14 and 15 L a day for one to four bedrooms, 0.1e-4 kg/s for each further one, ASHRAE 160, from memory
@pytest.mark.parametrize(("bedrooms", "production"), [(1, 0.9e-4), (2, 1.4e-4), (4, 1.7e-4), (5, 1.8e-4), (8, 2.1e-4)])
def test_every_bedroom_beyond_four_adds_a_litre_a_day(bedrooms, production):
    case = Indoor(model="ASHRAE 160 intermediate", bedrooms=bedrooms, air_changes=0.5, volume=500.0)
    _, moist = indoor.indoor_climate(case, weather(0.0, 500.0))
    excess = 1.36e5 * production / (0.5 * 500.0 / 3600.0)
    np.testing.assert_allclose(moist * saturation.saturation_pressure(294.25), 500.0 + excess, rtol=1e-9)


def test_ashrae_160_intermediate_is_held_at_70_percent():
    case = Indoor(model="ASHRAE 160 intermediate", bedrooms=9)
    _, moist = indoor.indoor_climate(case, weather(28.0, 3000.0))
    assert moist.max() == 0.7  # ASHRAE 160, from memory


@pytest.mark.parametrize(
    ("humidity_class", "excess"),
    [(1, 270.0), (2, 540.0), (3, 810.0), (4, 1080.0), (5, 1360.0)],  # ISO 13788 Annex A, from memory
)
def test_iso_13788_classes(humidity_class, excess):
    np.testing.assert_allclose(indoor.vapour_excess([253.15, 273.15], humidity_class), excess)
    np.testing.assert_allclose(indoor.vapour_excess(283.15, humidity_class), excess / 2)
    np.testing.assert_allclose(indoor.vapour_excess([293.15, 303.15], humidity_class), 0.0)


def test_iso_13788_room_in_the_cold_by_hand():
    # 0 degC, 500 Pa, class 2: 1040 Pa at 20 degC = 1040 / 2336.95
    found, moist = indoor.indoor_climate(Indoor(model="ISO 13788", humidity_class=2), weather(0.0, 500.0))
    np.testing.assert_allclose(found, 293.15)
    np.testing.assert_allclose(moist, 1040.0 / 2336.95, rtol=1e-5)  # p_sat printed to six digits


def test_iso_13788_room_follows_a_hot_outdoors_and_stays_below_saturation():
    found, moist = indoor.indoor_climate(Indoor(model="ISO 13788"), weather(32.0, 4700.0))
    np.testing.assert_allclose(found - 273.15, 32.0, atol=1e-9)
    np.testing.assert_allclose(moist, 0.95)


def test_daily_mean_looks_back_24_hours_and_wraps_round_the_year():
    celsius = np.zeros(HOURS.size)
    celsius[-12:] = 20.0  # warm last half day of the year: 31 December
    found, _ = indoor.indoor_climate(Indoor(load="normal"), weather(celsius))
    humidity = indoor.indoor_climate(Indoor(load="normal"), weather(celsius))[1]
    # hour 0 looks back over 23 hours of which 12 are warm: mean 10 degC, 50 % by Annex C
    assert humidity[0] == pytest.approx(0.5)
    assert humidity[22] == pytest.approx(0.4 + 0.01 * 20 * 1 / 24)  # 1 warm hour of 24 left
    assert humidity[23] == pytest.approx(0.4)
    assert found[0] == pytest.approx(293.15)


def test_monthly_values_stand_at_mid_month():
    values = tuple(0.3 + 0.02 * month for month in range(12))
    case = Indoor(model="monthly", temperature=(294.15,), relative_humidity=values)
    found, moist = indoor.indoor_climate(case, weather())
    np.testing.assert_allclose(found, 294.15)
    time = HOURS.astype("datetime64[h]")
    # 16 April 00:00 is the middle of a 30-day month; the hour's own middle is half an hour later
    at = int(np.flatnonzero(time == np.datetime64("2021-04-16T00"))[0])
    assert moist[at] == pytest.approx(values[3] + 0.02 * 0.5 / 720, abs=3e-6)  # next mid-month is 30.5 d away
    # turn of the year: half way between December and January
    assert moist[0] == pytest.approx((values[0] + values[11]) / 2, abs=2e-4)
    assert values[0] <= moist.min() and moist.max() <= values[11]


def test_constant_room():
    found, moist = indoor.indoor_climate(
        Indoor(model="constant", temperature=(291.15,), relative_humidity=(0.4,)), weather()
    )
    assert set(found) == {291.15} and set(moist) == {0.4}


def write(path, rows, header="temperature_degC,relative_humidity_percent"):
    path.write_text("\n".join([header, *rows]), encoding="utf-8")
    return Indoor(model="file", file=str(path))


def test_hourly_file(tmp_path):
    hours = HOURS[:48]
    case = write(
        tmp_path / "room.csv",
        [f"{20 + n / 100},x,{40 + n / 10}" for n in range(48)],
        "temperature_degC,note,relative_humidity_percent",
    )
    found, moist = indoor.indoor_climate(case, weather(hours=hours))
    np.testing.assert_allclose(found, 293.15 + np.arange(48) / 100)
    np.testing.assert_allclose(moist, 0.4 + np.arange(48) / 1000)


@pytest.mark.parametrize(
    ("rows", "header", "says"),
    [
        (["20,50"] * 47, None, "47 rows"),
        (["20,50"] * 48, "temperature,rh", "column is missing"),
        (["20,50"] * 20 + ["20,nan"] + ["20,50"] * 27, None, "row 22"),
        (["20,50"] * 20 + ["20"] + ["20,50"] * 27, None, "row 22"),
        (["293,50"] * 48, None, "not kelvin"),
        (["20,0.5"] * 48, None, "multiply by 100"),
    ],
)
def test_a_bad_hourly_file_says_where_and_how_to_cure(tmp_path, rows, header, says):
    case = write(tmp_path / "room.csv", rows, *([header] if header else []))
    with pytest.raises(InputError, match=r"room\.csv") as caught:
        indoor.indoor_climate(case, weather(hours=HOURS[:48]))
    assert says in str(caught.value)


def test_a_missing_file_and_an_unknown_model_are_input_errors(tmp_path):
    with pytest.raises(InputError, match="missing"):
        indoor.indoor_climate(Indoor(model="file", file=str(tmp_path / "no.csv")), weather())
    with pytest.raises(InputError, match="one of: EN 15026"):
        indoor.indoor_climate(Indoor(model="EN 15027"), weather())


@settings(deadline=None)  # shared machines pause
@given(st.floats(-60, 60), st.floats(0.0, 1.0), st.integers(1, 5))
def test_every_model_stays_within_physical_limits(celsius, humidity, humidity_class):
    case = weather(celsius, humidity * float(saturation.saturation_pressure(celsius + 273.15)), HOURS[:8760:24])
    for model in ("EN 15026", "ISO 13788", "ASHRAE 160", "ASHRAE 160 intermediate"):
        found, moist = indoor.indoor_climate(Indoor(model=model, humidity_class=humidity_class), case)
        assert np.all((moist >= 0) & (moist <= 0.95)) and np.all((found >= 291.0) & (found <= 335.0))


@pytest.mark.parametrize(
    ("celsius", "pascal"),
    [  # ISO 13788:2012 Annex E, from memory: its formula worked by hand, to 0.01 Pa
        (-20, 102.74),
        (-10, 259.33),
        (0, 610.5),
        (10, 1227.31),
        (20, 2336.95),
        (30, 4240.51),
        (40, 7370.93),
    ],
)
def test_saturation_pressure_of_iso_13788(celsius, pascal):
    assert float(saturation.saturation_pressure(celsius + 273.15)) == pytest.approx(pascal, abs=0.0051)


@settings(deadline=None)  # shared machines pause
@given(st.floats(-40, 80))
def test_dew_point_is_the_inverse_of_saturation_pressure(celsius):
    temperature = celsius + 273.15
    found = float(saturation.dew_point(saturation.saturation_pressure(temperature)))
    assert found == pytest.approx(temperature, abs=1e-7)  # rounding of log and exp
