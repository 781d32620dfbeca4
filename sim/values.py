"""Frozen, slotted dataclasses whose classes are made in a quarter of the time.

A command that checks a show loads some 150 of them, and the standard library compiles six
functions for each, which was a fifth of the whole check. Here `__init__` alone is compiled; what
else a frozen dataclass has is the same for all and made from its fields when it is called.

    from sim.values import dataclass

    @dataclass(frozen=True, slots=True)
    class Wire: ...

is a dataclass in every respect (`fields`, `replace`, `asdict`, `match`, copies and pickles work).
Anything but `frozen=True, slots=True` is left to the standard library.
"""

from __future__ import annotations

import dataclasses
from operator import attrgetter
from typing import TYPE_CHECKING, Any, cast

if TYPE_CHECKING:
    from collections.abc import Callable
    from dataclasses import dataclass as dataclass
else:

    def dataclass(cls: type | None = None, /, **options: bool) -> Any:
        """As `dataclasses.dataclass`."""
        if cls is None:
            return lambda cls: dataclass(cls, **options)
        if options != {"frozen": True, "slots": True} or len(cls.__mro__) > 2:
            return dataclasses.dataclass(cls, **options)
        return _frozen(cls)


_MISSING = dataclasses.MISSING


class _Shared:
    """What all of them have in common. `_values` of a class gives the values of its fields."""

    __slots__ = ()
    _values: Callable[[Any], tuple[Any, ...]]

    def __eq__(self, other: object) -> bool:
        if self.__class__ is not other.__class__:
            return NotImplemented
        return self._values(self) == self._values(other)

    def __hash__(self) -> int:
        return hash(self._values(self))

    def __repr__(self) -> str:
        names = self.__match_args__  # type: ignore[attr-defined]
        shown = zip(names, self._values(self), strict=True)
        return f"{type(self).__qualname__}({', '.join(f'{name}={v!r}' for name, v in shown)})"

    def __setattr__(self, name: str, value: object) -> None:
        raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")

    def __delattr__(self, name: str) -> None:
        raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")

    def __getstate__(self) -> list[Any]:
        return list(self._values(self))

    def __setstate__(self, state: list[Any]) -> None:
        names = self.__match_args__  # type: ignore[attr-defined]
        for name, value in zip(names, state, strict=True):
            object.__setattr__(self, name, value)


_SHARED = (
    "__eq__",
    "__hash__",
    "__repr__",
    "__setattr__",
    "__delattr__",
    "__getstate__",
    "__setstate__",
)


def _frozen(cls: type) -> type:
    if cls.__doc__ is None:  # the library would read a signature for it, which takes 10 ms
        cls.__doc__ = f"{cls.__name__}({', '.join(cls.__annotations__)})"
    made: Any = dataclasses.dataclass(init=False, repr=False, eq=False, slots=True)(cls)
    fields = dataclasses.fields(made)
    for field in fields:
        plain = field.init and field.repr and field.compare and field.hash is not False
        if not plain or field.kw_only:
            raise TypeError(f"{cls.__name__}.{field.name}: take the standard library's dataclass")
    made.__init__ = _initialiser(made, fields)
    made.__dataclass_params__.frozen = True
    made.__dataclass_params__.eq = True
    made._values = _getter(tuple(field.name for field in fields))
    for name in _SHARED:
        setattr(made, name, _Shared.__dict__[name])
    return cast("type", made)


def _getter(names: tuple[str, ...]) -> Callable[[Any], tuple[Any, ...]]:
    if len(names) > 1:
        return attrgetter(*names)
    return staticmethod(lambda value: tuple(getattr(value, name) for name in names))


def _initialiser(made: Any, fields: tuple[dataclasses.Field[Any], ...]) -> Callable[..., None]:
    """`__init__`, which sets each slot through its descriptor: `__setattr__` refuses."""
    scope: dict[str, Any] = {"_missing": _MISSING}
    parameters, body = ["self"], []
    for number, field in enumerate(fields):
        scope[f"_set{number}"] = made.__dict__[field.name].__set__
        given = field.name
        if field.default is not _MISSING:
            scope[f"_default{number}"] = field.default
            parameters.append(f"{field.name}=_default{number}")
        elif field.default_factory is not _MISSING:
            scope[f"_factory{number}"] = field.default_factory
            parameters.append(f"{field.name}=_missing")
            given = f"_factory{number}() if {field.name} is _missing else {field.name}"
        else:
            parameters.append(field.name)
        body.append(f" _set{number}(self, {given})\n")
    if hasattr(made, "__post_init__"):
        body.append(" self.__post_init__()\n")
    exec(f"def __init__({', '.join(parameters)}):\n{''.join(body) or ' pass'}", scope)
    found: Callable[..., None] = scope["__init__"]
    found.__qualname__ = f"{made.__qualname__}.__init__"
    found.__annotations__ = {
        **{field.name: field.type for field in fields},
        "return": None,
    }
    return found
