"""Layers and tables of a run in a PostGIS database: all of them, or none.

Everything is written in one transaction: whoever reads the database sees the last run or this one.
Only tables that carry our comment are replaced. The password is never part of the campaign file:
it comes from the environment (``GEOCHEM_POSTGIS_PASSWORD``, or what PostgreSQL's own library
looks for: ``PGPASSWORD``, the password file) and is neither stored nor printed.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

from geochem.errors import DataRefused, GeochemError
from geochem.model import tables as contract
from geochem.model.finding import findings_frame
from geochem.outputs.gis.renderer import contract_frame, sample_layer

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle

PASSWORD = "GEOCHEM_POSTGIS_PASSWORD"
_OURS = "written by geochem; replaced by every run"


def write_postgis(bundle: Bundle, connection: str, schema: str = "geochem") -> dict[str, int]:
    """Write the layers and tables of one run into a database.

    Parameters
    ----------
    bundle : Bundle
        Records of a run; the CRS must have an EPSG code.
    connection : str
        Connection text of PostgreSQL without a password, for example
        ``"host=localhost dbname=camp user=geologist"``.
    schema : str, default "geochem"
        Made when missing.

    Returns
    -------
    dict of str to int
        Rows written by table.

    Raises
    ------
    DataRefused
        If the database cannot be reached or written; it is left as it was.
    MissingExtra
        If psycopg is not installed.
    """
    from pyproj import CRS

    from geochem.optional import require

    psycopg = require("psycopg", extra="postgis", purpose="write into PostGIS")
    srid = CRS.from_user_input(bundle.info.crs).to_epsg()
    if srid is None:
        raise DataRefused(
            "the working CRS has no EPSG code, which PostGIS needs; nothing was written there."
        )
    password = os.environ.get(PASSWORD)
    secret = {} if password is None else {"password": password}
    try:
        with psycopg.connect(connection, connect_timeout=10, **secret) as database:
            return _write_all(psycopg, database, bundle, schema, srid)
    except GeochemError:
        raise
    except psycopg.Error as error:
        told = " ".join(str(error).split())
        if password:
            told = told.replace(password, "***")
        raise DataRefused(
            f"the PostGIS database was left as it was: {told[:300]}. Check [outputs] postgis, the "
            f"rights there, and the password in {PASSWORD}."
        ) from None


def _write_all(
    psycopg: Any, database: Any, bundle: Bundle, schema: str, srid: int
) -> dict[str, int]:
    sql = psycopg.sql
    survey, report = bundle.survey, bundle.targets
    frames: dict[str, Any] = {
        "samples": sample_layer(survey.samples),
        "anomalies": bundle.evidence.anomalies,
        "targets": contract_frame(report.targets, contract.TARGETS),
        "follow_up": contract_frame(report.follow_up, contract.FOLLOW_UP),
        "holes": contract_frame(report.holes, contract.HOLES),
        "results": survey.results,
        "thresholds": bundle.thresholds,
        "findings": findings_frame(bundle.findings),
    }
    written = {}
    with database.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_extension WHERE extname = 'postgis'")
        if cursor.fetchone() is None:
            raise DataRefused(
                "the database has no PostGIS: have its owner run CREATE EXTENSION postgis."
            )
        cursor.execute(sql.SQL("CREATE SCHEMA IF NOT EXISTS {}").format(sql.Identifier(schema)))
        for name, frame in frames.items():
            table = sql.Identifier(schema, name)
            cursor.execute(
                "SELECT obj_description(c.oid) FROM pg_class c JOIN pg_namespace n "
                "ON n.oid = c.relnamespace WHERE n.nspname = %s AND c.relname = %s",
                (schema, name),
            )
            there = cursor.fetchone()
            if there is not None and there[0] != _OURS:
                raise DataRefused(
                    f"the database holds a table {schema}.{name} that is not ours; give another "
                    "schema with [outputs] postgis_schema."
                )
            cursor.execute(sql.SQL("DROP TABLE IF EXISTS {}").format(table))
            written[name] = _write_table(sql, cursor, table, frame, srid)
            cursor.execute(sql.SQL("COMMENT ON TABLE {} IS {}").format(table, sql.Literal(_OURS)))
    return written


def _write_table(sql: Any, cursor: Any, table: Any, frame: Any, srid: int) -> int:
    import shapely

    kinds, columns = [], []
    for name in frame.columns:
        column = frame[name]
        kind, values = _kind_of(column)
        if kind == "geometry":
            kind = f"geometry(Geometry,{srid})"
            shapes = shapely.set_srid(column.to_numpy(), srid)
            values = [
                None if s is None else shapely.to_wkb(s, hex=True, include_srid=True)
                for s in shapes
            ]
        kinds.append(sql.SQL("{} {}").format(sql.Identifier(str(name)), sql.SQL(kind)))
        columns.append(values)
    names = sql.SQL(", ").join(sql.Identifier(str(n)) for n in frame.columns)
    cursor.execute(sql.SQL("CREATE TABLE {} ({})").format(table, sql.SQL(", ").join(kinds)))
    with cursor.copy(sql.SQL("COPY {} ({}) FROM STDIN").format(table, names)) as copy:
        for row in zip(*columns, strict=True):
            copy.write_row(row)
    return len(frame)


def _kind_of(column: Any) -> tuple[str, list[Any]]:
    """Choose the type of a column, and give its values with None where missing."""
    from pandas.api.types import (
        is_bool_dtype,
        is_datetime64_any_dtype,
        is_float_dtype,
        is_integer_dtype,
    )

    if str(column.dtype) == "geometry":
        return "geometry", []
    plain = column.astype(object).where(column.notna(), None).tolist()
    if is_bool_dtype(column.dtype):
        return "boolean", [None if v is None else bool(v) for v in plain]
    if is_integer_dtype(column.dtype):
        return "bigint", [None if v is None else int(v) for v in plain]
    if is_float_dtype(column.dtype):
        return "double precision", [None if v is None else float(v) for v in plain]
    if is_datetime64_any_dtype(column.dtype):
        return "timestamp", [None if v is None else v.to_pydatetime() for v in plain]
    # PostgreSQL's text takes every character but NUL
    return "text", [None if v is None else str(v).replace("\x00", "") for v in plain]
