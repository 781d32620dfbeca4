"""The house's dataclasses beside those of the standard library."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle
from collections.abc import Callable
from dataclasses import field
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.values import dataclass


@dataclass(frozen=True, slots=True)
class Wire:
    gauge: int
    colours: tuple[str, ...] = ()
    marks: list[str] = field(default_factory=list)

    @property
    def is_marked(self) -> bool:
        return bool(self.marks)


@dataclass(frozen=True, slots=True)
class Pin:
    number: int


@dataclass(frozen=True, slots=True)
class Checked:
    length_mm: float

    def __post_init__(self) -> None:
        if self.length_mm < 0:
            raise ValueError("a length is not negative")


@dataclass(frozen=True, slots=True)
class Nothing:
    pass


def _library(cls: type) -> Any:
    return dataclasses.make_dataclass(
        cls.__name__,
        [
            (f.name, Any, field(default=f.default))
            if f.default is not dataclasses.MISSING
            else (f.name, Any, field(default_factory=f.default_factory))
            if f.default_factory is not dataclasses.MISSING
            else (f.name, Any)
            for f in dataclasses.fields(cls)
        ],
        frozen=True,
        slots=True,
    )


values = st.integers() | st.text() | st.floats(allow_nan=False) | st.tuples(st.integers())


@given(values, values)
def test_equality_hash_and_repr_are_those_of_the_standard_library(a: Any, b: Any) -> None:
    for ours, made in ((Pin, _library(Pin)), (lambda v: Wire(v, ("red",)), None)):
        assert (ours(a) == ours(b)) is (a == b)
        if made is not None:
            assert repr(ours(a)) == repr(made(a))
            assert hash(ours(a)) == hash(made(a))
    two = Wire(1, (str(a),))
    assert repr(two) == repr(_library(Wire)(1, (str(a),)))


def test_values_of_different_classes_are_not_equal() -> None:
    other = dataclasses.make_dataclass("Pin", [("number", int)], frozen=True)
    assert Pin(1) != other(1)
    assert Pin(1) != object()
    assert Nothing() == Nothing()
    assert hash(Nothing()) == hash(())


def test_a_field_can_neither_be_set_nor_deleted_nor_added() -> None:
    pin = Pin(1)
    for spoil in (
        lambda: setattr(pin, "number", 2),
        lambda: setattr(pin, "other", 2),
        lambda: delattr(pin, "number"),
    ):
        with pytest.raises(dataclasses.FrozenInstanceError):
            spoil()
    assert pin == Pin(1)
    assert not hasattr(pin, "__dict__")


def test_defaults_are_given_and_a_factory_makes_each_its_own() -> None:
    one, other = Wire(1), Wire(1)
    assert one.colours == ()
    assert one.marks == []
    assert one.marks is not other.marks
    assert not one.is_marked
    assert Wire(1, marks=["a"]).is_marked


def test_the_library_knows_them_as_dataclasses() -> None:
    wire = Wire(1, ("red",))
    assert [f.name for f in dataclasses.fields(wire)] == ["gauge", "colours", "marks"]
    assert dataclasses.asdict(wire) == {"gauge": 1, "colours": ("red",), "marks": []}
    assert dataclasses.replace(wire, gauge=2) == Wire(2, ("red",))
    match wire:
        case Wire(gauge, (colour,)):
            assert (gauge, colour) == (1, "red")
        case _:
            pytest.fail("a value does not match its own pattern")
    assert list(inspect.signature(Wire).parameters) == ["gauge", "colours", "marks"]


@pytest.mark.parametrize(
    "again", [copy.copy, copy.deepcopy, lambda v: pickle.loads(pickle.dumps(v))]
)
def test_copies_and_pickles_are_equal(again: Callable[[Any], Any]) -> None:
    wire = Wire(1, ("red",), ["a"])
    assert again(wire) == wire
    assert again(Pin(3)) == Pin(3)


def test_what_is_checked_after_the_start_is_checked() -> None:
    assert Checked(1.0).length_mm == 1.0
    with pytest.raises(ValueError, match="not negative"):
        Checked(-1.0)


def test_too_few_or_unknown_values_are_refused() -> None:
    with pytest.raises(TypeError, match="gauge"):
        Wire()  # type: ignore[call-arg]
    with pytest.raises(TypeError, match="unknown"):
        Wire(1, unknown=2)  # type: ignore[call-arg]


def test_a_field_that_is_treated_apart_is_left_to_the_standard_library() -> None:
    class Apart:
        shown: int = field(compare=False)

    with pytest.raises(TypeError, match=r"Apart\.shown"):
        dataclass(frozen=True, slots=True)(Apart)


def test_other_kinds_of_dataclass_are_the_standard_librarys() -> None:
    @dataclass(slots=True)
    class Counter:
        count: int = 0

    counter = Counter()
    counter.count += 1
    assert counter == Counter(1)


def test_a_class_without_a_docstring_names_its_fields_and_one_with_keeps_it() -> None:
    @dataclass(frozen=True, slots=True)
    class Told:
        """A fuse."""

        amperes: float

    assert Told.__doc__ == "A fuse."
    assert Wire.__doc__ == "Wire(gauge, colours, marks)"
    assert Nothing.__doc__ == "Nothing()"


def test_making_a_class_reads_no_signature(monkeypatch: pytest.MonkeyPatch) -> None:
    """The library does, for a docstring; the first one compiles a tokenizer, which takes 10 ms."""
    monkeypatch.setattr(inspect, "signature", None)

    @dataclass(frozen=True, slots=True)
    class Fuse:
        amperes: float

    assert Fuse(5.0).amperes == 5.0
