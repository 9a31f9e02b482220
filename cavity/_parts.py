"""Kernels as parts of those that call them: left as LLVM's own language until a kernel that Python calls takes them in.

numba optimises each kernel together with all that it calls and makes machine code of it: what is called ten levels down
is optimised ten times, though every kernel is built into its callers. A part is optimised once, within the whole: a
first run compiles in half the time, and a year runs no slower.

This is an own compiler pipeline, for which numba has a hook, with two classes of our own in it; numba's are left as
they are. Where a name that is needed is missing, or numba is newer than what this was tried with, numba compiles the
kernel as it would without this.
"""

from __future__ import annotations

from typing import Any

_TRIED = 68  # numba 0.60 to 0.68: a later one may give a name another meaning
_NEEDED = ("_final_module", "_finalized", "_get_module_for_linking", "_linking_libraries", "_reload_init")


def pipeline() -> Any:
    """Return the compiler pipeline of parts; None if numba has changed."""
    import numba

    if numba.version_info[:2] > (0, _TRIED):
        return None
    try:
        from numba.core.codegen import JITCodeLibrary
        from numba.core.compiler import Compiler
        from numba.core.types import Function, unliteral
    except ImportError:
        return None

    class Part(JITCodeLibrary):
        """A kernel and all that it calls, linked, neither optimised nor made into machine code."""

        def finalize(self) -> None:
            for library in dict.fromkeys(self._linking_libraries):
                self._reload_init.update(library._reload_init)
                self._final_module.link_in(library._get_module_for_linking(), preserve=True)
            self._finalized = True

        @property
        def codegen(self) -> Any:
            return self  # asked for `set_env` alone: there is no machine code in which to set it

        def set_env(self, name: str, env: Any) -> None:
            """Set nothing."""

    class Typing:
        """A typing context that remembers what it found for numba's own functions: they are asked for over and over."""

        def __init__(self, context: Any) -> None:
            self._context = context

        def __getattr__(self, name: str) -> Any:
            return getattr(self._context, name)

        def resolve_function_type(self, function: Any, args: Any, kws: Any) -> Any:
            if not isinstance(function, Function):  # a kernel: once for all numbers, not for each constant by itself
                return self._context.resolve_function_type(function, tuple(map(unliteral, args)), kws)
            key = function, tuple(args), tuple(kws.items())
            if key not in signatures:
                signatures[key] = self._context.resolve_function_type(function, args, kws)
            return signatures[key]

    signatures: dict[Any, Any] = {}

    class Parts(Compiler):
        def define_pipelines(self) -> Any:
            state = self.state
            part = Part(state.targetctx.codegen(), state.func_id.func_qualname)
            if all(hasattr(part, name) for name in _NEEDED):
                state.library, state.typingctx = part, Typing(state.typingctx)
            return super().define_pipelines()

    return Parts
