"""The campaign file of a simulated campaign, with comments for people."""

from __future__ import annotations

from .settings import Settings

#: digestion -> sheet of the workbook, method, name of the assay
SHEETS: dict[str, tuple[str, str, str]] = {
    "near-total": ("Four-acid", "4-acid ICP-MS", "lab_4a"),
    "partial": ("Aqua regia", "Aqua regia ICP-MS", "lab_ar"),
}


def campaign_file(settings: Settings, layers: list[str]) -> str:
    """Write the text of ``campaign.toml``.

    Parameters
    ----------
    settings : Settings
        What the campaign was made from.
    layers : list of str
        Layers that were written.

    Returns
    -------
    str
        TOML.
    """
    fields = {"geology": "unit", "regolith": "regolith", "catchments": "sample_id"}
    lines = []
    for name in layers:
        suffix = "gpkg" if name == "geology" else "geojson"
        path = f'path = "{name}.{suffix}"'
        field = f', field = "{fields[name]}"' if name in fields else ""
        lines.append(f"{name} = {{ {path}{field} }}")
    sheet, method, name = SHEETS[settings.digestion]
    return _TEXT.format(
        sheet=sheet,
        method=method,
        assay=name,
        digestion=settings.digestion,
        seek=", ".join(f'"{e}"' for e in settings.seek),
        title=settings.title,
        epsg=settings.epsg,
        layers="\n".join(lines),
        seed=1,
    )


_TEXT = """\
# Campaign file. Everything in this folder is invented: names, place, rocks, numbers.
# Paths are relative to this file. Text after a # is for people.

title = "{title}"

# Working coordinate reference system: projected, in metres. This one is a UTM zone over the open
# South Atlantic, where there is no land: the place is invented, no real one is meant.
crs = "EPSG:{epsg}"

seed = {seed}                                  # of every random step
prepared_by = "R. Example"                # invented
# qualified_person = ""                   # name, membership and code, before anything is published
# report_date = "2026-05-29"

# --- samples: who, what, where ------------------------------------------------------------------
# One table of soils, rock chips and stream sediments with a column that tells them apart.
# Duplicates, standards and blanks are rows with a role; a duplicate names its parent.
[[samples]]
name = "field log"
path = "field_log.csv"
columns = {{ id = "Sample ID", x = "easting", y = "northing" }}

# --- assays: what was found ---------------------------------------------------------------------
# Portable XRF, two instruments; error columns are given at two sigma.
[[assays]]
name = "xrf"
path = "readings.csv"
source = "pxrf"
digestion = "total"                       # X-rays see the whole sample
fraction_um = 250
sigma = 2
[assays.columns]
id = "Sample"
instrument = "Instrument"
mode = "Mode"
time = "Time"
batch = "Batch"
role = "Role"
standard = "Standard"

# Laboratory: about one soil in eight, all rocks and sediments.
[[assays]]
name = "{assay}"
path = "laboratory.xlsx"
sheet = "{sheet}"
source = "laboratory"
laboratory = "Quill Assay (invented)"
method = "{method}"
digestion = "{digestion}"
fraction_um = 250
columns = {{ id = "Sample", batch = "Job", received = "Reported" }}

# Gold is beyond a portable XRF: fire assay at the laboratory.
[[assays]]
name = "lab_fa"
path = "laboratory.xlsx"
sheet = "Gold"
source = "laboratory"
laboratory = "Quill Assay (invented)"
method = "Fire assay 30 g ICP"
digestion = "total"
fraction_um = 250
columns = {{ id = "Sample", batch = "Job", received = "Reported" }}

# Certified values of the standards, per method.
[standards]
path = "standards.csv"

# --- layers -------------------------------------------------------------------------------------
# Any local vector file. structures carry dip and dip_direction (dip negative down in proposals).
[layers]
{layers}

# --- choices; every table may be left out -------------------------------------------------------
[quality]
# prefer = ["xrf", "{assay}", "lab_fa"]    # default: per element the assay that covers most samples
# key_elements = ["Cu", "Zn", "As", "Pb"] # a batch is judged on these; default: those that count

[background]
method = "median_mad"                     # geochem plugins lists the others
options = {{ k = 2, log = true }}
by = ["geology"]                          # domains; small units are pooled

[targets]
wanted = 10                               # a cap, never a quota
seek = [{seek}]                       # what the company looks for
max_spacing_m = 2000                      # coarser sampling gives no outlines
# association = {{ Cu = 1, Mo = 0.5 }}      # signed weights, or the name of a preset

[plan]
path = "plan.csv"                         # planned points, to show progress

[dispatch]
path = "dispatch.csv"                     # what was sent to the laboratory

[planning]
cost = {{ sample = 12, assay = 45, day = 900 }}   # invented currency
# layout = "staggered"                    # `geochem plan`: new points inside boundary, outside keep_out
# body = {{ length = 400, width = 150, azimuth = 30 }}  # the smallest body not to be missed [m]
# probability = 0.8                       # chance of a point inside it; gives the spacing
# north = "grid"
"""
