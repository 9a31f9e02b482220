"""Sphinx: the pages of this folder and the docstrings, as static files: `sphinx-build -W docs build/docs`."""

import re
from importlib.metadata import version as _version
from pathlib import Path

project = "cavity"
version = release = _version("cavity")
extensions = ["myst_parser", "sphinx.ext.apidoc", "sphinx.ext.autodoc", "sphinx.ext.napoleon", "sphinx.ext.viewcode"]
exclude_patterns = ["examples"]
# short names of types in docstrings stand for several classes; they stay words
suppress_warnings = ["ref.python"]

myst_heading_anchors = 4

# docstrings have the numpydoc form; single backquotes are code
default_role = "code"
napoleon_google_docstring = False
autodoc_member_order = "bysource"
autodoc_typehints = "none"  # the docstrings say types, shapes and units
autodoc_default_options = {"ignore-module-all": True}  # each name where it is defined, once

_package = Path(__file__).parents[1] / "cavity"
_inner = [  # not called by users piece by piece
    *(path for path in _package.glob("*.py") if path.stem in ("__main__", "_jit", "cli", "files", "terminal")),
    *(path for path in _package.glob("report/*.py") if path.stem != "__init__"),
    *(path for name in ("kernels", "live", "published") for path in _package.glob(f"{name}/*.py")),
    _package / "climate" / "_netcdf_child.py",
]
apidoc_modules = [
    {
        "path": str(_package),
        "destination": "modules",
        "exclude_patterns": [str(path) for path in _inner],
        "separate_modules": True,
        "module_first": True,
        "automodule_options": {"members"},
    }
]

html_theme = "furo"
html_title = f"cavity {release}"
html_show_sphinx = False
html_show_copyright = False
# lines of the equations, and their sources at the right, are 115 characters long
html_theme_options = {"light_css_variables": {"code-font-size": "0.72rem"}, "footer_icons": []}
html_static_path = ["site.css"]
html_css_files = ["site.css"]
html_copy_source = False


def _anchors(_app: object, _page: str, source: list[str]) -> None:
    """Let `<a id="name"></a>` of a page, which any viewer of Markdown follows, be a target here as well."""
    source[0] = re.sub(r'<a id="([\w-]+)"></a>', r"(\1)=", source[0])


def setup(app: object) -> None:
    """Register what happens to a page before it is read."""
    app.connect("source-read", _anchors)  # type: ignore[attr-defined]
