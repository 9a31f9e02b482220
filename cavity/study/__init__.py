"""Many cases: compare, size, vary."""

from cavity.study.compare import Comparison, JudgedCase, compare, save_cases

__all__ = ["Comparison", "JudgedCase", "compare", "save_cases"]
