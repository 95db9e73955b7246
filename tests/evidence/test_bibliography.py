"""No method lacks a source that exists, and no source is a stranger to its own entry."""

import importlib
import pkgutil
from collections.abc import Iterator

import pytest

import thalweg
from thalweg.errors import InputError
from thalweg.evidence.bibliography import bibliography, cite
from thalweg.evidence.protocol import merged
from thalweg.record.method import Method


def every_method() -> Iterator[tuple[str, Method]]:
    """Walk the whole package for methods, alone or in a module-level table."""
    for info in pkgutil.walk_packages(thalweg.__path__, "thalweg."):
        if ".migrations" in info.name or info.name.endswith("__main__"):
            continue
        module = importlib.import_module(info.name)
        for name, value in vars(module).items():
            several = value.values() if isinstance(value, dict) else (value,)
            for one in several:
                if isinstance(one, Method):
                    yield f"{info.name}.{name}", one


def test_every_method_has_sources_that_exist() -> None:
    found = dict(every_method())
    assert found, "the walk found no method at all"
    for where, method in found.items():
        for key in method.sources:
            assert key in bibliography(), f"{where}: {method.key} cites {key!r}"


def test_a_key_means_one_method() -> None:
    by_key: dict[str, Method] = {}
    for where, method in every_method():
        assert by_key.setdefault(method.key, method) == method, where


@pytest.mark.parametrize("key", list(bibliography()))
def test_entries_are_whole(key: str) -> None:
    entry = bibliography()[key]
    assert entry.authors
    assert entry.title
    assert entry.where
    assert 1900 <= entry.year <= 2026
    if entry.doi:
        assert entry.doi.startswith("10.")
    assert ("verify" in cite(key)) is (entry.read == "memory")


def test_a_units_own_rule_takes_the_place_of_ours_and_says_so() -> None:
    rules = merged("calendar", {"a": {"x": 1}, "b": {"x": 2}}, {"b": {"x": 3, "source": "local"}})
    assert rules.rows["b"]["x"] == 3
    assert rules.rows["a"]["x"] == 1
    assert "b" in rules.notice


def test_a_units_rule_without_a_source_is_refused() -> None:
    with pytest.raises(InputError, match="names no source"):
        merged("calendar", {}, {"b": {"x": 3}})
