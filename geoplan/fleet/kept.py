"""
Water bodies and their plans as sequences that read them from the store when they are asked for.

A district is held once, on disk: each water body is a part of the store under the hash of what it
is, from the moment it is read to the last file. Whoever works on it reads that part alone.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, islice
from typing import Any, Generic, TypeVar, overload

from geoplan.errors import PlanFileError
from geoplan.fleet.fingerprint import fingerprint
from geoplan.fleet.store import PartStore, packed
from geoplan.plan import WaterPlan
from geoplan.site import WaterBody

#: Water bodies that are all held in memory; of larger districts each is read when it is its turn,
#: so that memory does not grow with their number.
MOST_HELD = 256

Part = TypeVar("Part", WaterBody, WaterPlan)


class Kept(Sequence[Part], Generic[Part]):
    """
    What lies in a store, a part for each water body.

    Parameters
    ----------
    store : PartStore
        Where they lie.
    keys : sequence of str
        Their keys, in the order of the site.
    names : sequence of str
        ``water_id`` of each.

    Attributes
    ----------
    keys, names : tuple of str
        The same.
    """

    def __init__(self, store: PartStore, keys: Sequence[str], names: Sequence[str]) -> None:
        self._store = store
        self.keys = tuple(keys)
        self.names = tuple(names)

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.keys)

    @overload
    def __getitem__(self, index: int) -> Part: ...
    @overload
    def __getitem__(self, index: slice) -> "Kept[Part]": ...
    def __getitem__(self, index: int | slice) -> "Part | Kept[Part]":
        """Return one, read now, or some of them."""
        if isinstance(index, slice):
            return Kept(self._store, self.keys[index], self.names[index])
        part: Part = found(self._store, self.keys[index])
        return part


def found(store: PartStore, key: str) -> Any:
    """
    Return a part that must be there.

    Parameters
    ----------
    store : PartStore
        Where it lies.
    key : str
        Its key.

    Returns
    -------
    WaterBody or WaterPlan
        Read now.

    Raises
    ------
    PlanFileError
        If it is gone.
    """
    part = store.load(key)
    if part is None:
        raise PlanFileError(
            f"{store.folder}: a finished water body was removed while the plan was written; run"
            " the same command again"
        )
    return part


def held_or_kept(
    store: PartStore, keys: Sequence[str], names: Sequence[str]
) -> Sequence[WaterPlan]:
    """
    Return plans in memory where there are few, else as they lie in the store.

    Parameters
    ----------
    store : PartStore
        Where they lie.
    keys : sequence of str
        Their keys, in the order of the site.
    names : sequence of str
        ``water_id`` of each.

    Returns
    -------
    sequence of WaterPlan
        A tuple, or a sequence that reads each when it is asked for.
    """
    kept: Kept[WaterPlan] = Kept(store, keys, names)
    return tuple(kept) if len(keys) <= MOST_HELD else kept


def laid_down(store: PartStore) -> Callable[[Iterable[WaterBody]], Sequence[WaterBody]]:
    """
    Return what takes in the water bodies of a site as they are read.

    Parameters
    ----------
    store : PartStore
        Where those of a large district are laid down.

    Returns
    -------
    callable
        It gives a tuple where there are few, else a sequence that reads each when it is asked for.
    """

    def take(bodies: Iterable[WaterBody]) -> Sequence[WaterBody]:
        each = iter(bodies)
        few = tuple(islice(each, MOST_HELD + 1))
        if len(few) <= MOST_HELD:
            return few
        store.open()
        at, keys, names = chain(few, each), [], []
        del few
        for body in at:
            keys.append(fingerprint(body))
            names.append(body.water_id)
            if store.data_of(keys[-1]) is None:
                store.keep(keys[-1], packed(body), is_lasting=False)
        return Kept(store, keys, names)

    return take


@dataclass(frozen=True)
class Handed:
    """
    A water body for a piece of work: itself, or the key under which the store has it.

    Attributes
    ----------
    name, key : str
        Its ``water_id``, and the hash of what it is.
    body : WaterBody or None
        Itself; ``None`` where it is read from the store.
    """

    name: str
    key: str
    body: WaterBody | None = None

    def taken(self, store: PartStore) -> WaterBody:
        """
        Return the water body.

        Parameters
        ----------
        store : PartStore
            Where it lies, if it is not here.

        Returns
        -------
        WaterBody
            As it was read.
        """
        body: WaterBody = self.body or found(store, self.key)
        return body


def handed(bodies: Sequence[WaterBody]) -> Iterator[Handed]:
    """
    Yield the water bodies of a site as pieces of work take them.

    Parameters
    ----------
    bodies : sequence of WaterBody
        Those of the site.

    Yields
    ------
    Handed
        In their order; none is read for it.
    """
    if isinstance(bodies, Kept):
        for key, name in zip(bodies.keys, bodies.names, strict=True):
            yield Handed(name, key)
    else:
        for body in bodies:
            yield Handed(body.water_id, fingerprint(body), body)
