"""Levelling a survey: on evidence only, limits and errors too, a real change of the ground kept."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from geochem.background.levelling import level_survey
from geochem.errors import WrongCall
from geochem.model.survey import Survey
from geochem.model.tables import ANALYTES, CONTROLS, RESULTS, conform

CRS = "EPSG:32735"


def survey_of(*, factors=(1.25, 0.8), standards=8, twice=0, split=False, region=0.0, seed=0):
    """Two instruments on a 20 x 20 grid: in alternate samples, or one east and one west."""
    rng = np.random.default_rng(seed)
    east, north = (a.ravel() for a in np.meshgrid(np.arange(20.0), np.arange(20.0)))
    n = east.size
    who = (east >= 10).astype(int) if split else rng.integers(0, 2, n)
    truth = 30 * np.exp(0.25 * rng.standard_normal(n) + region * (east >= 10))
    names = np.array(["P1", "P2"], dtype=object)
    factor = np.array(factors)
    value = truth * factor[who] * np.exp(0.02 * rng.standard_normal(n))
    below = value < 15
    value = np.where(below, 15.0 * factor[who], value)
    ids = np.array([f"S{i:03d}" for i in range(n)], dtype=object)
    rows = [
        {"sample_id": i, "instrument": names[w], "value": v, "below": b}
        for i, w, v, b in zip(ids, who, value, below, strict=True)
    ]
    for k in rng.choice(np.flatnonzero(~below), twice, replace=False):
        other = 1 - who[k]
        rows.append(
            {"sample_id": ids[k], "instrument": names[other], "value": truth[k] * factor[other]}
        )
    controls = [
        {"sample_id": f"Q{j}{w}", "role": "standard", "standard": "STD-A", "instrument": names[w],
         "batch": f"B{j}{w}", "value": 40 * factor[w] * np.exp(0.02 * rng.standard_normal())}
        for j in range(standards) for w in (0, 1)
    ]  # fmt: skip
    common = {"assay": "xrf", "source": "pxrf", "element": "Cu", "err": 0.5}
    results = conform(pd.DataFrame(rows).fillna({"below": False}).assign(**common), RESULTS)
    frame = pd.DataFrame(
        {"sample_id": ids, "medium": "soil", "geology": "granite", "crew": names[who],
         "Cu_ppm": value, "Cu_ppm_below": below, "Cu_ppm_above": False, "Cu_ppm_err": 0.5}
    )  # fmt: skip
    places = gpd.points_from_xy(500_000 + 100 * east, 8_000_000 + 100 * north)
    analytes = conform(
        pd.DataFrame(
            [{"assay": "xrf", "source": "pxrf", "element": "Cu", "medium": "soil", "accepted": True}]
        ),
        ANALYTES,
    )  # fmt: skip
    survey = Survey(
        gpd.GeoDataFrame(frame, geometry=places, crs=CRS), results,
        conform(pd.DataFrame(controls).assign(**common) if controls else pd.DataFrame(), CONTROLS),
        frame.iloc[:0], analytes,
    )  # fmt: skip
    return survey, who, truth


def ratio_of(samples, who, truth):
    error = np.log(samples["Cu_ppm"].to_numpy() / truth)
    error = np.where(samples["Cu_ppm_below"], np.nan, error)
    return np.exp(np.nanmedian(error[who == 0]) - np.nanmedian(error[who == 1]))


@pytest.mark.parametrize(
    ("evidence", "given", "near"),
    [
        ("standards", {}, 0.04),
        ("duplicates", {"standards": 0, "twice": 25}, 0.04),
        # neighbours differ by 25 % each: four errors of the median of 200
        ("ground", {"standards": 0}, 0.1),
    ],
)
def test_each_kind_of_evidence_brings_instruments_together(evidence, given, near):
    survey, who, truth = survey_of(**given)
    assert ratio_of(survey.samples, who, truth) > 1.4
    levelled, record, findings = level_survey(survey, "instrument", evidence=[evidence])
    assert ratio_of(levelled.samples, who, truth) == pytest.approx(1.0, abs=near)
    assert record.done
    row = record.groups.set_index("group").loc["P1"]
    # the survey's level stays: each goes half the way, 1.25 / 0.8 apart
    assert row["factor"] == pytest.approx(0.8**0.5 / 1.25**0.5, rel=near)
    assert row["factor_low"] < row["factor"] < row["factor_high"]
    assert record.elements["removed_pct"].iloc[0] > 20
    assert {f.code for f in findings} >= {"levelled", "levelling-large"}
    # nothing but accepted columns changed, and the given survey did not
    pd.testing.assert_frame_equal(levelled.results, survey.results)
    assert ratio_of(survey.samples, who, truth) > 1.4


def test_limits_are_moved_too_flags_never_and_errors_grow():
    survey, _, _ = survey_of(standards=4)
    levelled, record, _ = level_survey(survey, "instrument")
    before, after = survey.samples, levelled.samples
    factor = record.groups.set_index("group")["factor"][after["crew"]].to_numpy(float)
    np.testing.assert_allclose(after["Cu_ppm"], before["Cu_ppm"] * factor)
    assert before["Cu_ppm_below"].sum() > 0
    np.testing.assert_array_equal(before["Cu_ppm_below"], after["Cu_ppm_below"])
    np.testing.assert_array_equal(before["Cu_ppm_above"], after["Cu_ppm_above"])
    assert (after["Cu_ppm_err"] > before["Cu_ppm_err"] * factor).all()


def test_instruments_that_agree_are_left_alone():
    for seed in range(5):
        survey, _, _ = survey_of(factors=(1.0, 1.0), twice=20, seed=seed)
        levelled, record, _ = level_survey(
            survey, "instrument", evidence=["standards", "duplicates", "ground"]
        )
        assert not record.done
        np.testing.assert_array_equal(levelled.samples["Cu_ppm"], survey.samples["Cu_ppm"])


def test_a_change_at_a_border_is_not_taken_for_an_instrument():
    survey, _, _ = survey_of(factors=(1.0, 1.0), standards=0, split=True, region=0.5)
    levelled, record, findings = level_survey(survey, "instrument", evidence=["ground"])
    assert not record.done
    assert [f.code for f in findings] == ["levelling-refused"]
    np.testing.assert_array_equal(levelled.samples["Cu_ppm"], survey.samples["Cu_ppm"])


def test_a_removed_regional_change_is_said():
    # standards say that the instruments differ, and they worked in different halves
    survey, _, _ = survey_of(split=True)
    _, record, findings = level_survey(survey, "instrument")
    assert record.elements["regional_pct"].iloc[0] > 60
    said = next(f for f in findings if f.code == "levelling-large")
    assert "real regional change" in said.message


def test_nothing_in_common_is_refused():
    survey, _, _ = survey_of(standards=0)
    _, record, findings = level_survey(survey, "instrument")
    assert not record.done
    assert [f.code for f in findings] == ["levelling-refused"]


def with_elements(survey, *more):
    """Give further elements the values of copper."""
    frame, results, controls, analytes = (
        survey.samples.copy(), [survey.results], [survey.controls], [survey.analytes]
    )  # fmt: skip
    for element in more:
        for end in ("", "_below", "_above", "_err"):
            frame[f"{element}_ppm{end}"] = frame[f"Cu_ppm{end}"]
        for several in (results, controls, analytes):
            several.append(several[0].assign(element=element))
    join = {"ignore_index": True}
    return Survey(
        frame, pd.concat(results, **join), pd.concat(controls, **join), frame.iloc[:0],
        pd.concat(analytes, **join),
    )  # fmt: skip


def test_one_name_in_two_laboratories_is_not_mixed():
    survey, _, _ = survey_of()
    alone, record, _ = level_survey(survey, "instrument")
    # another assay has a standard of the same name, four times as rich; samples are not in it
    elsewhere = survey.controls.assign(assay="lab", value=survey.controls["value"] * 4)
    both = Survey(
        survey.samples, survey.results, pd.concat([elsewhere, survey.controls], ignore_index=True),
        survey.unlocated, survey.analytes,
    )  # fmt: skip
    together, again, findings = level_survey(both, "instrument")
    np.testing.assert_allclose(together.samples["Cu_ppm"], alone.samples["Cu_ppm"], rtol=1e-12)
    pd.testing.assert_frame_equal(record.groups, again.groups)
    assert not [f for f in findings if f.code == "levelling-standard-namesake"]


def test_one_name_for_two_materials_levels_nothing():
    elements = ("Zn", "Pb", "As", "Ni")
    survey, who, truth = survey_of(factors=(1.0, 1.0), twice=25)
    survey = with_elements(survey, *elements)
    # the second crew calls a bag of its own STD-A: other ratios of every element
    rng = np.random.default_rng(4)
    times = dict(zip(("Cu", *elements), 10 ** rng.uniform(0.2, 0.5, 5), strict=True))
    second = survey.controls["instrument"] == "P2"
    other = survey.controls["value"] * np.where(
        second, survey.controls["element"].map(times).astype(float), 1.0
    )
    mixed = Survey(
        survey.samples, survey.results, survey.controls.assign(value=other), survey.unlocated,
        survey.analytes,
    )  # fmt: skip
    levelled, _, findings = level_survey(mixed, "instrument")
    said = next(f for f in findings if f.code == "levelling-standard-namesake")
    assert "standard STD-A" in said.message
    assert abs(np.log(ratio_of(levelled.samples, who, truth))) < 0.05
    # a true difference of one instrument in one element is no namesake
    fair, who, truth = survey_of(factors=(1.3, 0.8))
    levelled, _, findings = level_survey(with_elements(fair), "instrument")
    assert not [f for f in findings if f.code == "levelling-standard-namesake"]
    assert abs(np.log(ratio_of(levelled.samples, who, truth))) < 0.05


def test_columns_of_samples_and_row_order():
    survey, _, _ = survey_of(twice=30)
    _, by_crew, _ = level_survey(survey, "crew", evidence=["ground"])
    assert by_crew.groups["group"].tolist() == ["P1", "P2"]
    mixed = Survey(
        survey.samples, survey.results.sample(frac=1, random_state=1).reset_index(drop=True),
        survey.controls.sample(frac=1, random_state=2).reset_index(drop=True), survey.unlocated,
        survey.analytes,
    )  # fmt: skip
    one, two = (level_survey(s, "instrument")[0].samples["Cu_ppm"] for s in (survey, mixed))
    np.testing.assert_allclose(one, two, rtol=1e-12)


def test_wrong_calls():
    survey, _, _ = survey_of()
    with pytest.raises(WrongCall, match="instrument"):
        level_survey(survey, "instument")
    with pytest.raises(WrongCall, match="evidence"):
        level_survey(survey, "instrument", evidence=["standard"])
