"""How a lower floor learns from a higher one without importing it: the higher floor adds to a list in `ready()`."""

from collections.abc import Callable, Iterator
from typing import Generic, TypeVar

T = TypeVar("T", bound=Callable[..., object])


class Registry(Generic[T]):
    """Keep named callables in the order of their rank, then of their name, so that pages never depend on import order."""

    def __init__(self, question: str) -> None:
        self.question = question
        self._entries: dict[str, tuple[int, T]] = {}

    def add(self, name: str, answer: T, *, rank: int = 100) -> None:
        """Add an answer; a name taken by something else is a mistake in the program and is refused."""
        if name in self._entries and self._entries[name][1] is not answer:
            raise ValueError(f"{name!r} is already registered for: {self.question}")
        self._entries[name] = (rank, answer)

    def __iter__(self) -> Iterator[T]:
        for _name, (_rank, answer) in sorted(self._entries.items(), key=lambda e: (e[1][0], e[0])):
            yield answer

    def __getitem__(self, name: str) -> T:
        return self._entries[name][1]

    def __contains__(self, name: str) -> bool:
        return name in self._entries

    def items(self) -> Iterator[tuple[str, T]]:
        """Yield (name, answer) in order."""
        for name, (_rank, answer) in sorted(self._entries.items(), key=lambda e: (e[1][0], e[0])):
            yield name, answer
