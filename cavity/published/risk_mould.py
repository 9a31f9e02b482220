"""The mould model of the criteria against its published equations: critical humidity, time to start, index, decline."""

from __future__ import annotations

import functools

import numpy as np

from cavity.constants import ICE_POINT
from cavity.kernels.mould import critical_humidity, weeks_to_start
from cavity.published.case import HAND, READ, Case, not_run, value_case
from cavity.risk.mould import mould_index

_VTT = "A. Hukka, H. A. Viitanen, Wood Sci. Technol. 33 (1999) 475-485, from memory; worked from its equations"
_CLASSES = "T. Ojanen et al., Buildings XI, 2010, from memory; worked from its equations hour by hour"
DAYS = (28, 56, 84, 168, 364)
# Class, degC, % relative humidity, index after DAYS, all worked once from the equations apart from this program
INDEX = (
    ("very sensitive", 22, 97, (4.682, 5.505, 5.505, 5.505, 5.505)),
    ("very sensitive", 20, 90, (0.952, 2.779, 3.919, 3.995, 3.995)),
    ("very sensitive", 5, 97, (1.100, 3.196, 4.903, 5.124, 5.124)),
    ("sensitive", 22, 97, (1.297, 2.261, 3.213, 4.662, 4.677)),
    ("sensitive", 20, 90, (0.478, 0.954, 1.284, 2.186, 3.030)),
    ("medium resistant", 22, 97, (0.180, 0.360, 0.539, 1.102, 2.606)),
    ("resistant", 22, 97, (0.081, 0.162, 0.242, 0.479, 0.998)),
)


def cases() -> tuple[Case, ...]:
    """Return the cases, computed."""
    return (*curve(), *growth(), *decline(), *_left_out())


def curve() -> tuple[Case, ...]:
    """Return critical humidity and weeks until growth starts."""
    critical = tuple(
        value_case(
            f"critical humidity of pine at {celsius} degC",
            source=_VTT,
            tag=HAND,
            inputs="cubic of 1999, not below 80 %",
            units="%",
            expected=expected,
            computed=critical_humidity(float(celsius), 80.0),
            atol=0.005,  # printed digits
        )
        for celsius, expected in ((0, 100.0), (1, 97.03), (5, 88.02), (10, 82.03), (20, 80.04), (25, 80.0))
    )
    weeks = tuple(
        value_case(
            f"weeks until mould starts on pine at {celsius} degC, {humidity} %",
            source=_VTT,
            tag=HAND,
            inputs="resawn",
            units="weeks",
            expected=expected,
            computed=weeks_to_start(float(celsius), float(humidity), 0.0),
            atol=0.0005,  # printed digits
        )
        for celsius, humidity, expected in (
            (5, 97, 3.808), (10, 90, 6.732), (10, 97, 2.377), (20, 85, 9.300), (20, 90, 4.202), (20, 97, 1.484),
        )
    )  # fmt: skip
    return critical + weeks


@functools.cache
def index_run(sensitivity: str, celsius: float, humidity: float) -> np.ndarray:
    """Run 364 days of constant climate: class, [degC], [%]; return the index at the end of each hour, (8736,)."""
    climate = np.full((364 * 24, 1), 1.0)
    index, _ = mould_index((ICE_POINT + celsius) * climate, 0.01 * humidity * climate, [sensitivity], decline=1.0)
    return index[:, 0]


def growth() -> tuple[Case, ...]:
    """Return the index by class after 28, 84 and 364 days of constant climate."""
    return tuple(
        value_case(
            f"mould index, {sensitivity}, {celsius} degC, {humidity} %, after {days} d",
            source=_CLASSES,
            tag=HAND,
            inputs="constant climate, from a clean surface",
            units="1",
            expected=expected,
            computed=index_run(sensitivity, celsius, humidity)[24 * days - 1],
            atol=0.001,  # one unit of the last printed digit: hourly steps on both sides
        )
        for sensitivity, celsius, humidity, row in INDEX
        for days, expected in zip(DAYS, row, strict=True)
        if days in (28, 84, 364)
    )


def decline() -> tuple[Case, ...]:
    """Return how far the index of pine falls in a dry spell after growth."""
    wet, rows = 28 * 24, []
    for hours, expected in ((24, -0.00798), (48, -0.02399), (720, -0.4722)):
        humid = np.concatenate([np.full(wet, 0.97), np.full(hours, 0.4)])[:, None]
        index, _ = mould_index(np.full(humid.shape, ICE_POINT + 22.0), humid, ["very sensitive"], decline=1.0)
        rows.append(
            value_case(
                f"decline of the mould index in {hours} h of drought",
                source=_VTT,
                tag=HAND,
                inputs="pine, after 28 d at 22 degC and 97 %",
                units="1",
                expected=expected,
                computed=index[-1, 0] - index[wet - 1, 0],
                atol=2e-5,  # printed digits
            )
        )
    return tuple(rows)


def _left_out() -> tuple[Case, ...]:
    return (
        not_run(
            "mould index of twelve walls in Portugal, 0.4 on gypsum render to 5.9 on untreated wood",
            source="Advances in Civil Engineering 2018, 8532167, abstract",
            tag=READ,
            why="Walls and climates are not in the abstract",
        ),
        not_run(
            "isopleths of growth on building materials",
            source="K. Sedlbauer 2001",
            tag=READ,
            why="Published as graphs; no coefficients could be confirmed",
        ),
    )
