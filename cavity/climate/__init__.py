"""Hourly weather: read, checked, turned onto the wall, summarised."""

from pathlib import Path

from cavity.climate.estimate import estimate_rain
from cavity.climate.on_wall import on_wall
from cavity.climate.read import read_weather

__all__ = ["estimate_rain", "on_wall", "packaged", "read_weather"]


def packaged() -> dict[str, Path]:
    """Return the fictitious climates that come with the package, by name: file."""
    here = Path(__file__).parent
    # an installed package carries them; a copy of the project has them at its top
    folder = here / "packaged" if (here / "packaged").is_dir() else here.parents[1] / "climates"
    return {path.stem: path for path in sorted(folder.glob("*.epw"))}
