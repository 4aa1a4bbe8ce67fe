"""Checks of who gets rafts: none where none is wanted, and each ward within its limits."""

from collections import Counter
from collections.abc import Iterator

from geoplan.audit.evidence import Case
from geoplan.plan import Finding


def check_share(case: Case) -> Iterator[Finding]:
    """
    Hold the planned rafts of each water body and ward against what is wanted there.

    Parameters
    ----------
    case : Case
        The plan and the evidence.

    Yields
    ------
    Finding
        Rafts planned in each water body, and in each ward with limits.
    """
    wards: Counter[str] = Counter()
    for evidence in case.waters:
        terms = evidence.body.terms
        count = len(evidence.rafts)
        wards[terms.ward] += count
        passed = terms.wanted != "never" or count == 0
        words = f"{count} planned, '{terms.wanted}' is wanted"
        if not passed:
            words += "; take them out, or change 'wanted' in the layer water"
        limit = 0.0 if terms.wanted == "never" else float("inf")
        name = evidence.body.water_id
        yield Finding("share", name, "", float(count), limit, "rafts", passed, words)
    for ward in case.settings.district.ward:
        count = wards[ward.name]
        for most, is_kept, side in (
            (ward.least_rafts, count >= (ward.least_rafts or 0), "at least"),
            (ward.most_rafts, ward.most_rafts is None or count <= ward.most_rafts, "at most"),
        ):
            if most is not None:
                words = f"ward '{ward.name}' gets {count}, {side} {most} are wanted"
                if not is_kept:
                    words += "; plan again, or change the limit"
                yield Finding("share", "", "", float(count), float(most), "rafts", is_kept, words)
