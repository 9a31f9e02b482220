"""Hourly weather: read, checked, turned onto the wall, summarised."""

from cavity.climate.on_wall import on_wall
from cavity.climate.read import read_weather

__all__ = ["on_wall", "read_weather"]
