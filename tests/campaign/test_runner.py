"""The chain: order, one process or two, what is refused before anything runs."""

from __future__ import annotations

import multiprocessing
import os
import time
from functools import partial

import pytest

from geochem.campaign.memory import campaign_need, check_campaign
from geochem.campaign.operations import OPERATIONS
from geochem.campaign.records import RECORDS
from geochem.campaign.rendering import render_all
from geochem.campaign.runner import run
from geochem.errors import GeochemError, WrongCall


class Writes:
    reads_folder = False

    def __init__(self, name):
        self.name = name

    def render(self, bundle, folder):
        (folder / self.name).write_text(str(bundle))


class Breaks(Writes):
    def render(self, bundle, folder):
        raise ValueError("no ink")


class Slow(Writes):
    def render(self, bundle, folder):
        time.sleep(1.0)


class Dies(Writes):
    def render(self, bundle, folder):
        if multiprocessing.parent_process() is None:
            time.sleep(1.0)
        else:
            os._exit(1)


class Pieces(Writes):
    def pieces(self, bundle, folder):
        for k in range(12):
            yield partial(self.one, folder / f"piece_{k}")

    def one(self, path):
        with path.open("a") as stream:
            stream.write("x")

    def render(self, bundle, folder):
        for piece in self.pieces(bundle, folder):
            piece()


class Reads(Writes):
    reads_folder = True

    def render(self, bundle, folder):
        (folder / self.name).write_text(" ".join(sorted(p.name for p in folder.iterdir())))


class Draws(Writes):
    draws_figures = True


class ReadsFigures(Reads):
    reads_folder = "figures"


def methods(*pairs):
    return [(name, kind(name), {}) for name, kind in pairs]


@pytest.mark.parametrize("jobs", [1, 2])
def test_one_process_or_two_write_the_same(tmp_path, jobs):
    told = []
    listed = methods(("report", Reads), ("figures", Writes), ("tables", Writes))
    timings = render_all(listed, "records", tmp_path, jobs=jobs, tell=told.append)
    assert (tmp_path / "figures").read_text() == "records"
    # what reads the folder comes last, whatever the order
    assert (tmp_path / "report").read_text() == "figures tables"
    assert set(timings) == {"write_figures", "write_tables", "write_report"}
    assert len(told) == 3


@pytest.mark.parametrize("jobs", [1, 2])
def test_what_reads_the_figures_comes_between(tmp_path, jobs):
    listed = methods(
        ("page", Reads), ("report", ReadsFigures), ("table", Writes), ("figures", Draws)
    )
    render_all(listed, "records", tmp_path, jobs=jobs, tell=lambda _: None)
    assert "figures" in (tmp_path / "report").read_text().split()
    assert (tmp_path / "page").read_text() == "figures report table"


@pytest.mark.skipif(
    "fork" not in multiprocessing.get_all_start_methods(), reason="one process there"
)
def test_a_failure_of_the_second_process_is_told(tmp_path):
    listed = methods(("tables", Slow), ("figures", Breaks))
    # whichever process takes the one that breaks
    with pytest.raises((GeochemError, ValueError), match="no ink"):
        render_all(listed, "records", tmp_path, jobs=2, tell=lambda _: None)


@pytest.mark.skipif(
    "fork" not in multiprocessing.get_all_start_methods(), reason="one process there"
)
def test_a_second_process_that_dies_is_told(tmp_path):
    listed = methods(("tables", Dies), ("figures", Dies))
    with pytest.raises(GeochemError, match="ended without a word"):
        render_all(listed, "records", tmp_path, jobs=2, tell=lambda _: None)


@pytest.mark.parametrize("jobs", [1, 2, 3])
def test_pieces_are_shared_and_each_is_done_once(tmp_path, jobs):
    listed = methods(("figures", Pieces), ("tables", Writes))
    timings = render_all(listed, "records", tmp_path, jobs=jobs, tell=lambda _: None)
    assert (tmp_path / "tables").exists()
    assert [(tmp_path / f"piece_{k}").read_text() for k in range(12)] == ["x"] * 12
    assert set(timings) == {"write_figures", "write_tables"}


def test_no_process_at_all_is_refused(tmp_path):
    with pytest.raises(WrongCall, match="at least one process"):
        run(tmp_path, jobs=0)


def test_every_operation_gets_what_earlier_ones_give():
    known = {"until", "clock"}
    for operation in OPERATIONS:
        assert set(operation.inputs) <= known, operation.name
        known |= set(operation.outputs)
        assert callable(operation.load())
    assert set(RECORDS) <= known


def test_methods_are_checked_before_anything_runs(tmp_path):
    (tmp_path / "campaign.toml").write_text(
        'title = "t"\ncrs = "EPSG:32735"\n[samples]\npath = "none.csv"\n'
        '[background]\nmethod = "median_madd"\n'
    )
    with pytest.raises(WrongCall, match="Did you mean 'median_mad'"):
        run(tmp_path)


def test_memory_of_a_whole_run_is_kept_or_refused():
    samples, values = 99_681, 4_500_000
    one, two = campaign_need(samples, values), campaign_need(samples, values, 2)
    assert check_campaign(samples, values, 2, None) == 2
    assert check_campaign(samples, values, 2, two) == 2
    assert check_campaign(samples, values, 2, two - 1) == 1
    with pytest.raises(WrongCall, match=r"--memory 500 MiB does not suffice: 99681 samples with"):
        check_campaign(samples, values, 2, 500 * 2**20)
    # measured: 5,491 x 24 in two processes, 29,768 x 40 and 99,681 x 40 in one [GiB]
    assert campaign_need(5_491, 200_000) / 2**30 == pytest.approx(0.83, rel=0.15)
    assert campaign_need(29_768, 1_360_000) / 2**30 == pytest.approx(1.5, rel=0.15)
    assert one / 2**30 == pytest.approx(3.5, rel=0.15)
