"""Hourly weather: reading, checks, sun, wind and rain on the wall, summary."""

from cavity.climate.estimate import estimate_rain
from cavity.climate.named import climate_names, packaged
from cavity.climate.on_wall import on_wall
from cavity.climate.read import read_weather

__all__ = ["climate_names", "estimate_rain", "on_wall", "packaged", "read_weather"]
