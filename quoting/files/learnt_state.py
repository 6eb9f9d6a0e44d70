"""What was learnt, as plain text that is kept: estimates can be asked without a refit.

Figures stand in JSON; covariances as the base64 of their little-endian doubles, so
that what is read is to the last bit what was written. Needs numpy: import this module
where it is used, not at the top.
"""

import base64
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from quoting.domain.calibration import (
    USUAL,
    BookTime,
    Calibration,
    Effect,
    Floats,
    History,
    Incident,
    LeftOut,
    Marker,
    Model,
    Point,
    Why,
)
from quoting.domain.extras import Circumstances, Counts, Tendency
from quoting.domain.labour import Labour, Recalibration

#: Raised whenever a state means something else than before; older ones are not read.
FORM = 1


@dataclass(frozen=True, slots=True, eq=False)
class LearntState:
    """Minutes, likely extras, and the records that they were learnt from.

    Attributes:
        labour: the shop's minutes, without its past jobs.
        tendencies: how often each finding is made.
        points: records against what the shop's own times say of them.
    """

    labour: Labour
    tendencies: Mapping[str, Tendency]
    points: tuple[Point, ...]


def write(state: LearntState) -> str:
    """Return it as text that ``read`` takes."""
    labour, learnt = state.labour, state.labour.calibration
    history = learnt.history
    values = {
        "form": FORM,
        "today": history.today.isoformat(),
        "material": history.material,
        "hardness": history.hardness,
        "book": [
            [b.operation, b.setup, b.unit, b.by_material, b.by_hardness]
            for b in history.book
        ],
        "markers": [[m.on.isoformat(), m.operations, m.what] for m in history.markers],
        "effects": [
            [e.kind, e.of, e.on.isoformat() if e.on else ""]
            for e in learnt.model.effects
        ],
        "shares": learnt.model.shares,
        "estimate": _packed(learnt.estimate),
        "covariance": _packed(learnt.covariance),
        "prior": _packed(learnt.prior),
        "incidents": [
            [i.job, i.row, i.operations, i.minutes, i.expected, i.probability]
            for i in learnt.incidents
        ],
        "left_out": [
            [each.job, each.row, each.operation, each.why.name]
            for each in learnt.left_out
        ],
        **{name: getattr(learnt, name) for name in _PLAIN},
        "disturbed": labour.disturbed.observed,
        "undisturbed": labour.undisturbed.observed,
        "tendencies": [_tendency(each) for each in state.tendencies.values()],
        "points": [
            [p.job, p.on.isoformat(), p.operations, p.minutes, p.expected, p.incident]
            for p in state.points
        ],
    }
    return json.dumps(values, ensure_ascii=False, separators=(",", ":"))


def read(text: str) -> LearntState:
    """Return what ``write`` gave as *text*.

    Raises:
        ValueError: it is of another form.
    """
    values = json.loads(text)
    if values.get("form") != FORM:
        raise ValueError(values.get("form"))
    history = History(
        book=tuple(BookTime(*row) for row in values["book"]),
        jobs=(),
        today=date.fromisoformat(values["today"]),
        markers=tuple(
            Marker(date.fromisoformat(on), tuple(codes), what)
            for on, codes, what in values["markers"]
        ),
        material=values["material"],
        hardness=values["hardness"],
    )
    effects = [
        Effect(kind, of, date.fromisoformat(on) if on else None)
        for kind, of, on in values["effects"]
    ]
    size = len(effects)
    learnt = Calibration(
        history=history,
        assumptions=USUAL,
        model=Model(history, effects, values["shares"]),
        estimate=_unpacked(values["estimate"]),
        covariance=_unpacked(values["covariance"]).reshape(size, size),
        prior=_unpacked(values["prior"]),
        whole_jobs=(),
        incidents=tuple(
            Incident(job, row, tuple(codes), *rest)
            for job, row, codes, *rest in values["incidents"]
        ),
        left_out=tuple(
            LeftOut(job, row, code, Why[why])
            for job, row, code, why in values["left_out"]
        ),
        **{name: values[name] for name in _PLAIN},
    )
    return LearntState(
        labour=Labour(
            learnt,
            Recalibration(tuple(values["disturbed"])),
            Recalibration(tuple(values["undisturbed"])),
        ),
        tendencies={row["finding"]: _of(row) for row in values["tendencies"]},
        points=tuple(
            Point(job, date.fromisoformat(on), tuple(codes), *rest)
            for job, on, codes, *rest in values["points"]
        ),
    )


#: What of a calibration is plain figures already.
_PLAIN = (
    "spreads",
    "noise",
    "job",
    "incident",
    "rows",
    "jobs",
    "clocked",
    "usual",
    "effective_jobs",
    "step",
    "rounds",
)


def _tendency(each: Tendency) -> Mapping[str, Any]:
    return {
        "finding": each.finding,
        "levels": each.levels,
        "estimate": _packed(each.estimate),
        "covariance": _packed(each.covariance),
        "spreads": each.spreads,
        "correlation": each.correlation,
        "seen": [[list(of), list(counts)] for of, counts in each.seen.items()],
    }


def _of(row: Mapping[str, Any]) -> Tendency:
    estimate = _unpacked(row["estimate"])
    return Tendency(
        finding=row["finding"],
        levels=row["levels"],
        estimate=estimate,
        covariance=_unpacked(row["covariance"]).reshape(len(estimate), -1),
        spreads=row["spreads"],
        correlation=row["correlation"],
        seen={Circumstances(*of): Counts(*counts) for of, counts in row["seen"]},
    )


def _packed(figures: Floats | Sequence[float]) -> str:
    plain = np.ascontiguousarray(figures, dtype="<f8")
    return base64.b64encode(plain.tobytes()).decode()


def _unpacked(text: str) -> Floats:
    return np.frombuffer(base64.b64decode(text), dtype="<f8").astype(float)
