"""Transformers: the protocol of scikit-learn, the formulas, the way back, the names."""

import numpy as np
import pandas as pd
import pytest
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler
from sklearn.utils.estimator_checks import check_estimator

from geochem.composition import (
    AdditiveLogRatio,
    CentredLogRatio,
    IsometricLogRatio,
    PivotLogRatio,
    alr,
    clr,
    ilr,
    partition_basis,
    principal_partition,
)
from geochem.errors import WrongCall

PARTS = ["Cu", "Zn", "Pb", "Fe"]
RNG = np.random.default_rng(0)
X = pd.DataFrame(RNG.lognormal(size=(40, 4)), columns=PARTS)
ALL = [
    CentredLogRatio(), AdditiveLogRatio("Pb"), IsometricLogRatio(), IsometricLogRatio("principal"),
    IsometricLogRatio([[1, 1, -1, -1], [1, -1, 0, 0], [0, 0, 1, -1]]), PivotLogRatio("Zn"),
]  # fmt: skip


class PlusOne:
    """Makes do with what scikit-learn's checks give: they draw zeros, which have no logarithm."""

    def _checked(self, X, *, reset):
        raised = X + 1.0 if isinstance(X, np.ndarray) and X.dtype.kind in "fi" else X
        try:
            return super()._checked(raised, reset=reset)
        except ValueError as error:
            if "zeros" not in str(error) or (np.asarray(X, dtype=float) < 0).any():
                raise
            return super()._checked(np.asarray(X, dtype=float) + 1.0, reset=reset)


class PlusCentred(PlusOne, CentredLogRatio):
    pass


class PlusAdditive(PlusOne, AdditiveLogRatio):
    pass


class PlusIsometric(PlusOne, IsometricLogRatio):
    pass


class PlusPivot(PlusOne, PivotLogRatio):
    pass


@pytest.mark.parametrize("kind", [PlusCentred, PlusAdditive, PlusIsometric, PlusPivot])
def test_keeps_the_protocol_of_scikit_learn(kind):
    done = check_estimator(kind(), on_skip=None, on_fail=None)
    failed = {c["check_name"]: str(c["exception"]) for c in done if c["status"] == "failed"}
    assert failed == {}
    assert sum(c["status"] == "passed" for c in done) > 35


@pytest.mark.parametrize("transformer", ALL)
def test_there_and_back(transformer):
    z = transformer.fit_transform(X)
    back = transformer.inverse_transform(z)
    assert back == pytest.approx(X.to_numpy() / X.to_numpy().sum(axis=1, keepdims=True))
    assert len(transformer.get_feature_names_out()) == z.shape[1]


def test_formulas_are_those_of_the_functions():
    assert CentredLogRatio().fit_transform(X) == pytest.approx(clr(X))
    assert AdditiveLogRatio("Pb").fit_transform(X) == pytest.approx(alr(X, 2))
    assert IsometricLogRatio().fit_transform(X) == pytest.approx(ilr(X))
    principal = IsometricLogRatio("principal").fit_transform(X)
    assert principal == pytest.approx(ilr(X, partition_basis(principal_partition(X))))
    assert (np.diff(principal.var(axis=0)) <= 1e-12).all()
    # the first coordinate is the part against all others: sqrt(D / (D - 1)) clr
    first = PivotLogRatio("Zn").fit_transform(X)[:, 0]
    assert first == pytest.approx(np.sqrt(4 / 3) * clr(X)[:, 1])


def test_names():
    assert CentredLogRatio().fit(X).get_feature_names_out().tolist() == [
        "clr_Cu", "clr_Zn", "clr_Pb", "clr_Fe",
    ]  # fmt: skip
    assert AdditiveLogRatio("Pb").fit(X).get_feature_names_out()[0] == "alr_Cu_Pb"
    assert PivotLogRatio("Zn").fit(X).get_feature_names_out()[0] == "ilr_Zn__Cu_Pb_Fe"


def test_in_a_pipeline_with_a_table_out():
    pipeline = make_pipeline(CentredLogRatio(), StandardScaler()).set_output(transform="pandas")
    assert list(pipeline.fit_transform(X).columns) == ["clr_Cu", "clr_Zn", "clr_Pb", "clr_Fe"]


def test_refusals():
    with pytest.raises(ValueError, match="replace_below"):
        CentredLogRatio().fit([[0.0, 1.0]])
    with pytest.raises(WrongCall, match="possible"):
        PivotLogRatio("Au").fit(X)
    with pytest.raises(WrongCall, match="4 parts"):
        AdditiveLogRatio(4).fit(X)
    with pytest.raises(WrongCall, match="divides 3 parts"):
        IsometricLogRatio([[1, 1, -1], [1, -1, 0]]).fit(X)
    with pytest.raises(WrongCall, match="finite coordinates"):
        IsometricLogRatio().fit(X).inverse_transform([[1.0, 2.0]])
