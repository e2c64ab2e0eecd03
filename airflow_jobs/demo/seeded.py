"""The one source of chance: everything invented follows from a seed."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Final, TypeVar
from uuid import UUID

import numpy as np

Item = TypeVar("Item")

VERSION_7: Final = 0x7
VARIANT: Final = 0b10


class Seeded:
    """Numbers, choices and identifiers drawn from one generator, in a fixed order.

    Parameters
    ----------
    seed
        Any whole number from 0; the same one gives the same company.
    """

    def __init__(self, seed: int) -> None:
        self.generator = np.random.default_rng(seed)

    def new_id(self, at: datetime.datetime) -> UUID:
        """Return a UUID version 7 (RFC 9562) of an instant, its random bits from the seed."""
        milliseconds = int(at.timestamp() * 1000.0)
        high, low = (int(bits) for bits in self.generator.integers(0, 2**62, size=2))
        return UUID(
            int=(milliseconds & (2**48 - 1)) << 80
            | VERSION_7 << 76
            | (high & 0xFFF) << 64
            | VARIANT << 62
            | low
        )

    def chance(self, probability: float) -> bool:
        """Return whether something of this probability happens."""
        return bool(self.generator.random() < probability)

    def uniform(self, low: float, high: float) -> float:
        """Return a number between two others."""
        return float(self.generator.uniform(low, high))

    def normal(self, mean: float, sd: float) -> float:
        """Return a number from a normal distribution."""
        return float(self.generator.normal(mean, sd))

    def gamma(self, mean: float, shape: float) -> float:
        """Return a positive number from a gamma distribution of this mean."""
        return float(self.generator.gamma(shape, mean / shape))

    def beta(self, a: float, b: float) -> float:
        """Return a share from a beta distribution."""
        return float(self.generator.beta(a, b))

    def whole(self, low: int, high: int) -> int:
        """Return a whole number from `low` to `high`, both included."""
        return int(self.generator.integers(low, high + 1))

    def pick(self, items: Sequence[Item], weights: Sequence[float] | None = None) -> Item:
        """Return one of the items, by weight where weights are given."""
        if weights is None:
            return items[int(self.generator.integers(len(items)))]
        shares = np.asarray(weights, dtype=float)
        return items[int(self.generator.choice(len(items), p=shares / shares.sum()))]

    def shuffled(self, items: Sequence[Item]) -> list[Item]:
        """Return the items in another order."""
        return [items[int(index)] for index in self.generator.permutation(len(items))]


class Quota:
    """Something that happens to a fixed share of cases, in no order that can be foreseen.

    A share that is a story must come out whatever the seed; drawn case by case it would wander.
    """

    def __init__(self, seeded: Seeded, share: float, block: int = 20) -> None:
        self._seeded = seeded
        self._share = share
        self._block = block
        self._owed = seeded.generator.random()
        self._cases: list[bool] = []

    def is_due(self) -> bool:
        """Return whether it happens in the next case."""
        if not self._cases:
            owed = self._owed + self._share * self._block
            happening = int(owed)
            self._owed = owed - happening
            self._cases = self._seeded.shuffled(
                [number < happening for number in range(self._block)]
            )
        return self._cases.pop()
