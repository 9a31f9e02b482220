"""Many cases: compare, size, vary."""

from cavity.study.compare import Case, Comparison, compare, save_cases

__all__ = ["Case", "Comparison", "compare", "save_cases"]
