"""Water plans as a sequence that reads them from the store when they are asked for."""

from collections.abc import Sequence
from typing import overload

from geoplan.errors import PlanFileError
from geoplan.fleet.store import PartStore
from geoplan.plan import WaterPlan

#: Water bodies whose plans are all held in memory; of larger districts each is read when it is
#: its turn, so that memory does not grow with their number.
MOST_HELD = 256


class KeptWaters(Sequence[WaterPlan]):
    """
    Plans of water bodies that lie in a store.

    Parameters
    ----------
    store : PartStore
        Where they lie.
    keys : sequence of str
        Their keys, in the order of the site.
    """

    def __init__(self, store: PartStore, keys: Sequence[str]) -> None:
        self._store = store
        self._keys = tuple(keys)

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._keys)

    @overload
    def __getitem__(self, index: int) -> WaterPlan: ...
    @overload
    def __getitem__(self, index: slice) -> "KeptWaters": ...
    def __getitem__(self, index: int | slice) -> "WaterPlan | KeptWaters":
        """Return one, read now, or some of them."""
        if isinstance(index, slice):
            return KeptWaters(self._store, self._keys[index])
        plan = self._store.load(self._keys[index])
        if not isinstance(plan, WaterPlan):
            raise PlanFileError(
                f"{self._store.folder}: a finished water body was removed while the plan was"
                " written; run the same command again"
            )
        return plan


def held_or_kept(store: PartStore, keys: Sequence[str]) -> Sequence[WaterPlan]:
    """
    Return plans in memory where there are few, else as they lie in the store.

    Parameters
    ----------
    store : PartStore
        Where they lie.
    keys : sequence of str
        Their keys, in the order of the site.

    Returns
    -------
    sequence of WaterPlan
        A tuple, or a sequence that reads each when it is asked for.
    """
    kept = KeptWaters(store, keys)
    return tuple(kept) if len(keys) <= MOST_HELD else kept
