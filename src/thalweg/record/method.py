"""How a finding is reached: formula, where it holds, and the publication it rests on."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Method"]


@dataclass(frozen=True, slots=True)
class Method:
    """A published or stated way from facts to a finding.

    Parameters
    ----------
    key : str
        Unique, in lower-case words joined by hyphens.
    title : str
        As a page names it.
    formula : str
        The computation in one line of plain mathematics, with the units it expects.
    valid_for : str
        Whom and what range it was made for.
    sources : tuple of str
        Keys of the bibliography; at least one.
    cautions : tuple of str
        Sentences that every finding by this method carries.
    """

    key: str
    title: str
    formula: str
    valid_for: str
    sources: tuple[str, ...]
    cautions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.sources:
            msg = f"method {self.key!r} names no source"
            raise ValueError(msg)
