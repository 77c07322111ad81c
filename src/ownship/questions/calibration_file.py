"""The calibration file (docs/formats/calibration.md): both calibrations of an aeroplane as JSON, and strictly back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ownship.errors import UnreadableFile

if TYPE_CHECKING:
    from ownship.calibration.estimate import Calibration
    from ownship.performance.model import KindError


@dataclass(frozen=True)
class Fitted:
    """Both calibrations of an aeroplane, the hash of what they were made of."""

    book: Calibration
    own: Calibration | None
    digest: str
    rows: int
    aeroplane: str = ""


def to_json(fitted: Fitted) -> dict[str, Any]:
    """The calibration file (formats.md): both calibrations, seed, hash, model version, names, mean, covariance."""
    from ownship.calibration.estimate import MODEL_VERSION
    from ownship.performance.model import parameter_names

    def one(c: Calibration | None) -> dict[str, Any] | None:
        if c is None:
            return None
        return {"label": c.label, "rows": c.rows_used, "mean": c.mean.tolist(), "covariance": c.covariance.tolist(),
                "effective": c.effective, "natural_mean": c.natural_mean()}

    return {"schema": 1, "model_version": MODEL_VERSION, "seed": fitted.book.seed, "hash": fitted.digest,
            "aeroplane": fitted.aeroplane, "rows": fitted.rows,
            "parameters": list(parameter_names()), "unit": "mean and covariance in prior sd",
            "discrepancy": {k: {"relative": e.relative_1, "absolute": e.absolute}
                            for k, e in fitted.book.discrepancy.items()},
            "book": one(fitted.book), "own": one(fitted.own)}


def from_json(data: Any, name: str) -> Fitted:
    """Read a calibration file back; one of another model version, or with a part that no calibration has, is refused by name."""
    from ownship.calibration.estimate import MODEL_VERSION
    from ownship.performance.model import parameter_names

    try:
        if data["schema"] != 1 or data["model_version"] != MODEL_VERSION or data["parameters"] != list(parameter_names()):
            raise UnreadableFile(f"{name} was made by another version of the model; calibrate again.")
        seed, errors = _whole(data, "seed"), _discrepancy(data["discrepancy"])
        book, own = (_calibration(data[key], key, seed, errors) for key in ("book", "own"))
        if book is None:
            raise _Part("book")
        return Fitted(book, own, _text(data, "hash"), _whole(data, "rows"), _text(data, "aeroplane"))
    except _Part as part:
        raise UnreadableFile(f"{name} is no calibration file as `ownship calibrate` writes it: its {part} is not believable; "
                             "make it again.") from None
    except (AttributeError, KeyError, TypeError, ValueError, OverflowError):
        raise UnreadableFile(f"{name} is not a calibration file; make one with `ownship calibrate`.") from None


class _Part(ValueError):
    """Which part of a calibration file cannot be."""


def _whole(data: Any, key: str) -> int:
    value = data[key]
    if type(value) is not int or not 0 <= value < 2**63:
        raise _Part(key)
    return value


def _text(data: Any, key: str) -> str:
    value = data[key]
    if not isinstance(value, str):
        raise _Part(key)
    return value


def _real(data: Any, key: str, low: float, high: float, of: str = "") -> float:
    """A number from `low` to `high`; `of`: what it belongs to, for the refusal."""
    value = data[key]
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise _Part(f"{of} {key}".strip())
    return float(value)


def _discrepancy(data: Any) -> dict[str, KindError]:
    """The discrepancy of every kind, in the order that draws are made in."""
    from ownship.performance.model import KindError, priors

    known = priors().row_sd
    if set(data) != set(known):
        raise _Part("discrepancy")
    return {k: KindError(_real(data[k], "relative", 0.0, 1.0, f"discrepancy of {k}:"),
                         _real(data[k], "absolute", 0.0, 1e4, f"discrepancy of {k}:")) for k in known}


def _calibration(c: Any, label: str, seed: int, errors: dict[str, KindError]) -> Calibration | None:
    """Mean within what a fit may reach, covariance symmetric, no wider than that and no narrower than what a fit holds fixed."""
    import numpy as np

    from ownship.calibration.estimate import FARTHEST, HELD, PROPOSALS, Calibration
    from ownship.performance.model import parameter_names

    if c is None:
        return None
    size = len(parameter_names())
    mean, covariance = np.array(c["mean"], dtype=float), np.array(c["covariance"], dtype=float)
    if mean.shape != (size,) or not (np.abs(mean) <= FARTHEST).all():
        raise _Part(f"mean ({label})")
    if (covariance.shape != (size, size) or not (np.abs(covariance) <= FARTHEST**2).all()
            or not np.allclose(covariance, covariance.T, rtol=1e-9, atol=1e-12)
            or np.linalg.eigvalsh(covariance)[0] < 0.01 * HELD**2):
        raise _Part(f"covariance ({label})")
    if c["label"] not in (("book", "prior") if label == "book" else ("own",)):
        raise _Part(f"label ({label})")
    effective = None if c["effective"] is None else _real(c, "effective", 1.0, PROPOSALS)
    return Calibration(_text(c, "label"), mean, covariance, _whole(c, "rows"), seed, errors, effective)
