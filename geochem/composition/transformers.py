"""Log-ratio transforms as scikit-learn transformers, for pipelines.

They take arrays or tables of positive values, remember the parts, and go back to compositions that
sum to one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from sklearn.base import BaseEstimator, TransformerMixin
from sklearn.utils.validation import check_is_fitted, validate_data

from geochem.composition.bases import partition_basis, pivot_basis, principal_partition
from geochem.errors import WrongCall, unknown
from geochem.stats.logratio import alr_rows, clr_inv_rows, clr_rows, ilr_rows

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

BASES = ("pivot", "principal")


class _LogRatio(TransformerMixin, BaseEstimator):  # type: ignore[misc]
    """What the transformers share: checked input, names of parts, the way back."""

    def __sklearn_tags__(self) -> Any:
        tags = super().__sklearn_tags__()
        tags.input_tags.positive_only = True
        return tags

    def _checked(self, X: Any, *, reset: bool) -> Array:
        x: Array = validate_data(
            self, X, reset=reset, dtype=np.float64, ensure_min_features=2 if reset else 1
        )
        if not (x > 0).all():
            # the words that scikit-learn looks for come first
            raise ValueError(
                f"Negative values in data passed to {type(self).__name__}, or zeros: "
                f"{int((x <= 0).sum())} values have no logarithm. Replace values below detection "
                "first (replace_below)."
            )
        return x

    def _parts(self) -> list[str]:
        names = getattr(self, "feature_names_in_", None)
        if names is None:
            return [f"x{i}" for i in range(self.n_features_in_)]
        return [str(name) for name in names]

    def _coordinates(self, Z: Any, width: int) -> Array:
        check_is_fitted(self)
        z = np.asarray(Z, dtype=float)
        if z.ndim != 2 or z.shape[1] != width or not np.isfinite(z).all():
            raise WrongCall(
                f"finite coordinates of shape (n_samples, {width}) are needed, got {z.shape}."
            )
        return z


class CentredLogRatio(_LogRatio):
    """Each part against the geometric mean of all (clr).

    References
    ----------
    .. [1] Aitchison 1986, The Statistical Analysis of Compositional Data, Chapman & Hall.

    Examples
    --------
    >>> CentredLogRatio().fit_transform([[0.1, 0.3, 0.4, 0.2]]).round(4).tolist()
    [[-0.7945, 0.3041, 0.5918, -0.1014]]
    """

    def fit(self, X: Any, y: Any = None) -> CentredLogRatio:  # noqa: ARG002
        """Check the data and remember the parts."""
        self._checked(X, reset=True)
        return self

    def transform(self, X: Any) -> Array:
        """Give centred log-ratios, shape (n_samples, n_parts)."""
        check_is_fitted(self, "n_features_in_")
        return clr_rows(self._checked(X, reset=False))

    def inverse_transform(self, X: Any) -> Array:
        """Give compositions that sum to one, shape (n_samples, n_parts)."""
        return clr_inv_rows(self._coordinates(X, self.n_features_in_))

    def get_feature_names_out(self, input_features: Any = None) -> npt.NDArray[np.object_]:  # noqa: ARG002
        """Name the columns: ``clr_Cu``."""
        check_is_fitted(self, "n_features_in_")
        return np.array([f"clr_{part}" for part in self._parts()], dtype=object)


class AdditiveLogRatio(_LogRatio):
    """Each part against one of them (alr).

    Parameters
    ----------
    denominator : int or str, default -1
        Place, or name, of the part that divides the others.

    Examples
    --------
    >>> AdditiveLogRatio().fit_transform([[0.1, 0.3, 0.4, 0.2]]).round(4).tolist()
    [[-0.6931, 0.4055, 0.6931]]
    """

    def __init__(self, denominator: int | str = -1) -> None:
        self.denominator = denominator

    def fit(self, X: Any, y: Any = None) -> AdditiveLogRatio:  # noqa: ARG002
        """Check the data and find the part that divides."""
        self._checked(X, reset=True)
        self.place_ = _place(self.denominator, self._parts())
        return self

    def transform(self, X: Any) -> Array:
        """Give additive log-ratios, shape (n_samples, n_parts - 1)."""
        check_is_fitted(self)
        return alr_rows(self._checked(X, reset=False), self.place_)

    def inverse_transform(self, X: Any) -> Array:
        """Give compositions that sum to one, shape (n_samples, n_parts)."""
        check_is_fitted(self)
        z = self._coordinates(X, self.n_features_in_ - 1)
        return clr_inv_rows(np.insert(z, self.place_, 0.0, axis=1))

    def get_feature_names_out(self, input_features: Any = None) -> npt.NDArray[np.object_]:  # noqa: ARG002
        """Name the columns: ``alr_Cu_Al``."""
        check_is_fitted(self)
        parts = self._parts()
        below = parts.pop(self.place_)
        return np.array([f"alr_{part}_{below}" for part in parts], dtype=object)


class IsometricLogRatio(_LogRatio):
    """Orthonormal log-ratio coordinates (ilr).

    Parameters
    ----------
    basis : {"pivot", "principal"} or array_like, default "pivot"
        Pivot coordinates; balances found from the data, those of largest variance first; or a
        sequential binary partition of 1, -1 and 0, shape (n_parts - 1, n_parts).

    References
    ----------
    .. [1] Egozcue et al. 2003, Math. Geol. 35:279-300; Egozcue & Pawlowsky-Glahn 2005, Math. Geol.
       37:795-828.
    """

    def __init__(self, basis: Any = "pivot") -> None:
        self.basis = basis

    def fit(self, X: Any, y: Any = None) -> IsometricLogRatio:  # noqa: ARG002
        """Check the data and make the basis."""
        x = self._checked(X, reset=True)
        if isinstance(self.basis, str):
            if self.basis not in BASES:
                raise unknown("basis", self.basis, BASES)
            if self.basis == "pivot":
                self.basis_ = pivot_basis(x.shape[1])
            else:
                self.basis_ = partition_basis(principal_partition(x))
        else:
            self.basis_ = partition_basis(self.basis)
            if self.basis_.shape[1] != x.shape[1]:
                raise WrongCall(
                    f"the partition divides {self.basis_.shape[1]} parts and the data have "
                    f"{x.shape[1]}."
                )
        return self

    def transform(self, X: Any) -> Array:
        """Give coordinates, shape (n_samples, n_parts - 1)."""
        check_is_fitted(self)
        return ilr_rows(self._checked(X, reset=False), self.basis_)

    def inverse_transform(self, X: Any) -> Array:
        """Give compositions that sum to one, shape (n_samples, n_parts)."""
        check_is_fitted(self)
        return clr_inv_rows(self._coordinates(X, self.n_features_in_ - 1) @ self.basis_)

    def get_feature_names_out(self, input_features: Any = None) -> npt.NDArray[np.object_]:  # noqa: ARG002
        """Name the columns after the parts they set against each other: ``ilr_Cu_Zn__Al``."""
        check_is_fitted(self)
        parts = np.array(self._parts(), dtype=object)
        names = []
        for row in self.basis_:
            over, under = parts[row > 1e-12], parts[row < -1e-12]
            names.append(f"ilr_{'_'.join(over)}__{'_'.join(under)}")
        return np.array(names, dtype=object)


class PivotLogRatio(IsometricLogRatio):
    """Coordinates whose first one sets a chosen part against all the others.

    Parameters
    ----------
    part : int or str, default 0
        Place, or name, of that part; the others keep their order.

    References
    ----------
    .. [1] Fiserova & Hron 2011, Math. Geosci. 43:455-468.
    """

    def __init__(self, part: int | str = 0) -> None:
        self.part = part

    def fit(self, X: Any, y: Any = None) -> PivotLogRatio:  # noqa: ARG002
        """Check the data and make the basis."""
        x = self._checked(X, reset=True)
        first = _place(self.part, self._parts())
        order = [first, *(i for i in range(x.shape[1]) if i != first)]
        self.basis_ = np.empty((x.shape[1] - 1, x.shape[1]))
        self.basis_[:, order] = pivot_basis(x.shape[1])
        return self


def _place(part: int | str, parts: list[str]) -> int:
    if isinstance(part, str):
        if part not in parts:
            raise unknown("part", part, parts)
        return parts.index(part)
    if isinstance(part, bool) or not -len(parts) <= part < len(parts):
        raise WrongCall(f"there are {len(parts)} parts; {part!r} is no place of one.")
    return int(part) % len(parts)
