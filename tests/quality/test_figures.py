"""The further figures of quality control are drawn from the records, and from empty ones not."""

from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest

from geochem.model.quality import QualityReport
from geochem.outputs.figures.quality_figures import TITLES, quality_jobs
from geochem.quality import judge_quality


def _bundle(report):
    return SimpleNamespace(quality=report, info=None)


@pytest.fixture(scope="module")
def drawn(simulated, certificates):
    survey = simulated(41, days=6, per_day=60, lab_every=4, gains={(2, "Cu"): 1.3})
    samples = survey.samples.assign(powder_ml=4.0, die_mm=32.0)

    report = judge_quality(replace(survey, samples=samples), certificates)
    return {name: draw() for name, _, draw in quality_jobs(_bundle(report))}


def test_every_check_has_its_figure(drawn):
    assert set(drawn) == set(TITLES) - {"quality_drift_correction"}


def test_before_and_after_is_drawn_when_drift_was_corrected(simulated, certificates):
    from geochem.quality import judge_and_treat

    survey = simulated(42, gains={(2, "Cu"): 1.3})
    _, report = judge_and_treat(survey, certificates, options={"drift": "linear"})
    jobs = {name: draw for name, _, draw in quality_jobs(_bundle(report))}
    (chart, *_) = jobs["quality_drift_correction"]().axes
    lines = {line.get_gid(): line for line in chart.lines}
    done = report.drift_correction[report.drift_correction["corrected"]]
    assert lines["after"].get_ydata() == pytest.approx(
        done.sort_values("before_pct", ascending=False)["after_pct"].to_numpy()
    )
    assert len(lines["before"].get_ydata()) == min(30, len(report.drift_correction))


def test_leading_elements_come_first_and_not_alone(drawn, simulated, certificates):
    from geochem.outputs.figures.quality_pairs import duplicate_series

    report = judge_quality(simulated(41, days=6, per_day=60, lab_every=4), certificates)
    series = duplicate_series(report.duplicates, ["Zn", "Fe"])
    firm = [e for _, _, e in series]
    assert firm[0] == "Zn"
    assert firm[:3].count("Zn") <= 2


def test_residuals_of_calibrations_are_those_of_the_line(simulated, certificates):
    from geochem.outputs.figures.calibration import draw_calibrations

    report = judge_quality(simulated(41, days=6, per_day=60, lab_every=4), certificates)
    one = next(c for c in report.calibrations if c.element == "Fe")
    page = draw_calibrations([one], report.calibration_pairs)
    points = next(line for ax in page.axes for line in ax.lines if line.get_gid() == "residuals")
    assert len(points.get_ydata()) == one.n
    # A line through the middle leaves as much above as below.
    assert abs(float(pd.Series(points.get_ydata()).median())) < 1


def test_marks_stand_for_the_records(drawn):
    def gids(name):
        return {a.get_gid() for ax in drawn[name].axes for a in ax.get_children()} - {None}

    assert "thinnest pellet" in gids("quality_pellets")
    assert {"pairs used", "limit"} <= gids("quality_duplicates")
    assert {"pairs", "1:1", "reduced major axis", "ranked"} <= gids("quality_duplicate_scatter")
    assert {"reported", "low_mdl"} <= gids("quality_detection")
    assert "readings" in gids("quality_drift")


def test_no_label_shows_its_markup(drawn):
    for page in drawn.values():
        page.canvas.draw()
        for ax in page.axes:
            words = [t.get_text() for t in (*ax.get_xticklabels(), *ax.get_yticklabels())]
            assert not any("$" in w for w in words)


def test_empty_records_give_no_figures():
    nothing = pd.DataFrame()
    report = QualityReport(*[nothing] * 5, (), nothing, nothing)
    assert list(quality_jobs(_bundle(report))) == []


def test_the_report_has_a_part_for_each_check(simulated, certificates, tmp_path):
    from geochem.outputs.quality_tables import quality_points, quality_sheets
    from geochem.outputs.report.blocks import Table
    from geochem.outputs.report.quality_blocks import quality_blocks
    from geochem.quality import judge_and_treat

    survey = simulated(42, gains={(2, "Cu"): 1.3})
    options = {"drift": "linear", "failed_batches": "leave out", "trust": {"Sn": "unusable"}}
    _, report = judge_and_treat(survey, certificates, options=options)
    blocks = quality_blocks(_bundle(report), tmp_path)
    captions = [b.caption for b in blocks if isinstance(b, Table)]
    assert any("Drift correction" in c for c in captions)
    assert any("set by hand" in c for c in captions)
    assert any(r[:4] == ("xrf", "Sn", "unusable", "hand") for b in blocks if isinstance(b, Table)
               for r in b.rows)  # fmt: skip
    sheets = quality_sheets(report)
    assert set(sheets) >= {"batches", "reliability", "calibrations", "drift correction"}
    assert len(sheets["calibrations"]) == len(report.calibrations)
    assert set(quality_points(report)) >= {"quality_standards", "quality_calibration_pairs"}
