"""Rules of the house that a program can check."""

from __future__ import annotations

import ast
import importlib
import re
import subprocess
import sys
from pathlib import Path

import pytest

import geochem

PACKAGE = Path(geochem.__file__).parent
MODULES = sorted(PACKAGE.rglob("*.py"))
FORBIDDEN_NAMES = {"utils", "helpers", "common", "misc", "core", "base", "tools"}


def test_importing_the_package_loads_nothing_heavy():
    code = (
        "import sys, geochem, geochem.cli.main\n"
        "heavy = {'numpy','pandas','geopandas','scipy','matplotlib','sklearn','folium','shapely',"
        "'pyproj','rasterio','jinja2','openpyxl','pptx','fpdf'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_no_module_is_longer_than_600_lines():
    long = {m.name: n for m in MODULES if (n := len(m.read_text("utf-8").splitlines())) > 600}
    assert long == {}


def test_no_drawer_modules():
    names = {part for m in MODULES for part in (m.stem, m.parent.name)}
    assert names & FORBIDDEN_NAMES == set()


def test_the_library_does_not_print():
    said = []
    for module in MODULES:
        if module.parent.name == "cli":
            continue
        for node in ast.walk(ast.parse(module.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "print":
                said.append(f"{module.name}:{node.lineno}")
    assert said == []


def test_every_public_name_exists_and_is_documented():
    for name in geochem.__all__:
        if not name.startswith("__"):
            assert getattr(geochem, name).__doc__, name


def test_every_package_says_what_lives_in_it():
    for init in PACKAGE.rglob("__init__.py"):
        name = ".".join(("geochem", *init.parent.relative_to(PACKAGE).parts))
        doc = importlib.import_module(name).__doc__ or ""
        assert len(doc) > 60, name


def test_no_machine_paths_and_no_web_addresses_that_would_be_fetched():
    pattern = re.compile(r"(/root/|/home/|/work/|/tmp/|C:\\\\Users)")
    hits = [m.name for m in MODULES if pattern.search(m.read_text("utf-8"))]
    assert hits == []


@pytest.mark.parametrize("group", ["readers", "thresholds", "rankers", "renderers"])
def test_every_built_in_loads_and_names_itself(group):
    from geochem import plugins

    for entry in plugins.entries(group):
        method = plugins.load(group, entry.name)
        assert method.name == entry.name
        assert len(method.summary) > 10
        function = {"renderers": "render", "readers": "read", "rankers": "rank"}.get(group)
        plugins.options_of(method, function)


def test_every_campaign_key_is_in_the_developers_page():
    from geochem.campaign.keys import TABLES, TOP

    page = (Path(__file__).parent.parent / "DEVELOPERS.md").read_text("utf-8")
    missing = [k for k in TOP if f"`{k}`" not in page]
    missing += [
        f"{name}.{key}"
        for name, table in TABLES.items()
        for key in table.keys
        if f"`{key}`" not in page
    ]
    assert missing == []
