"""Which head is meant: the layouts that fit what was said, and how they differ.

Pure. What callers leave unsaid is taken for the usual: a diesel is called a diesel, a
motorcycle a motorcycle, a boxer a boxer (common practice, no source).
"""

from collections.abc import Callable, Iterable, Iterator, Sequence

from quoting.domain.head import Layout
from quoting.domain.hearing import Sense

#: What may be known of a head against its layout: an iron one of alloy heads.
FACTS_OF_HEADS = ("material", "cooling", "use")


def fitting(layouts: Iterable[Layout], said: Sequence[Sense]) -> list[Layout]:
    """Return the layouts that everything *said* fits, the likely ones only.

    A material, cooling or use that none of them has is left aside.
    """
    every = list(layouts)
    found = [each for each in every if fits(each, said)]
    if not found:
        firm = [sense for sense in said if sense.kind not in FACTS_OF_HEADS]
        found = [each for each in every if firm and fits(each, firm)]
    return _likely(found, said)


def nearest(layouts: Iterable[Layout], said: Sequence[Sense]) -> list[Layout]:
    """Return the layouts that most of what was *said* fits."""
    score = [(sum(fits(each, [s]) for s in said), each) for each in layouts]
    most = max((fitted for fitted, _ in score), default=0)
    return [each for fitted, each in score if most and fitted == most]


def fits(layout: Layout, said: Sequence[Sense]) -> bool:
    """Tell whether a layout fits everything *said*; of several codes any."""
    codes = {sense.value for sense in said if sense.kind == "layout"}
    if codes and layout.code not in codes:
        return False
    return all(_fits(layout, sense) for sense in said if sense.kind != "layout")


def _fits(layout: Layout, sense: Sense) -> bool:
    value = sense.value
    a_cylinder = layout.inlet + layout.exhaust
    match sense.kind:
        case "arrangement":
            alone = layout.arrangement == "separate" and layout.cylinders == 1
            return layout.arrangement == value or (value == "single" and alone)
        case "engine":
            standing, _, cylinders = value.rpartition(" ")
            return layout.cylinders * layout.heads == int(cylinders) and (
                standing in ("", layout.arrangement)
            )
        case "valves":
            return int(value) in (layout.valves * layout.heads, a_cylinder)
        case "valves_a_cylinder":
            return int(value) == a_cylinder
        case "train" if value == "quad":
            return layout.train == "dohc" and layout.heads > 1
        case "train":
            return layout.train in value.split()
        case "material":
            return layout.material.split("_")[0] == value
        case "fuel":
            return _is_diesel(layout) == (value == "diesel")
        case "chamber":
            return layout.chamber == value and _is_diesel(layout)
    return bool(getattr(layout, sense.kind) == value)  # cooling, use


def _is_diesel(layout: Layout) -> bool:
    works = (layout.injectors, layout.glow_plugs, layout.prechambers)
    return any(works) and not layout.spark_plugs


def _likely(layouts: list[Layout], said: Sequence[Sense]) -> list[Layout]:
    """Leave out what a caller would have said; where nothing else is left, it stays.

    A count of valves alone is said of engines with more than two a cylinder.
    """
    kinds = {sense.kind for sense in said}

    def prefer(unless: set[str], test: Callable[[Layout], bool]) -> None:
        nonlocal layouts
        if kinds.isdisjoint(unless | {"layout"}):
            layouts = [each for each in layouts if test(each)] or layouts

    prefer({"fuel", "chamber"}, lambda layout: not _is_diesel(layout))
    prefer({"use"}, lambda layout: layout.use == "road")
    if not any(sense.value.startswith("flat") for sense in said):
        prefer(set(), lambda layout: layout.arrangement != "flat")
    if "valves" in kinds:
        prefer(
            {"engine", "arrangement"},
            lambda layout: layout.inlet + layout.exhaust > 2,
        )
    return layouts


_STANDING = {"inline": "{} in line", "vee": "V{}", "flat": "flat {}"}
_TRAINS = {
    "side_valve": "side valve",
    "ohv": "pushrod",
    "sohc": "single cam",
    "dohc": "twin cam",
    "desmo": "desmodromic",
}


def labels(layouts: Sequence[Layout]) -> list[str]:
    """Return for each layout what tells it from the others, in few words.

    A single one is called by its name.
    """
    found = [""] * len(layouts)
    for traits in zip(*map(_traits, layouts), strict=True):
        if len(set(found)) == len(layouts):
            break
        if len(set(traits)) > 1:
            pairs = zip(found, traits, strict=True)
            found = [", ".join(filter(None, pair)) for pair in pairs]
    if len(layouts) > 1 and len(set(found)) == len(layouts):
        return found
    return [layout.name for layout in layouts]


def _traits(layout: Layout) -> Iterator[str]:
    cylinders = layout.cylinders * layout.heads
    yield _STANDING.get(layout.arrangement, "{} cylinders").format(cylinders)
    yield f"{layout.valves * layout.heads} valves"
    yield _TRAINS[layout.train]
    yield layout.material.replace("_", " ")
    yield "diesel" if _is_diesel(layout) else "petrol"
    yield f"{layout.cooling} cooled"
    yield layout.use
