"""Records of a run as bytes and back: numbers exactly, texts, tables, geometries; never code.

A zip file with one JSON tree and the arrays it names in NumPy's own format. Reading it back can
only build the kinds listed here and the frozen records of this package: unlike a pickle it cannot
call anything, whatever the file holds. A kind that is not listed is refused when writing
(`NotStorable`), and the step that made it is then worked out anew each time.
"""

from __future__ import annotations

import dataclasses
import importlib
import io
import json
import zipfile
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path, PurePath
from typing import Any

import numpy as np

#: all entries get one time: the same records give the same bytes
_EPOCH = (1980, 1, 1, 0, 0, 0)


class NotStorable(Exception):
    """A record holds a kind that has no stored form."""


class _Arrays(list[np.ndarray[Any, Any]]):
    """Arrays to be written, at most so many bytes of them."""

    def __init__(self, most: int | None) -> None:
        super().__init__()
        self.left = most

    def append(self, array: np.ndarray[Any, Any]) -> None:
        super().append(array)
        if self.left is not None:
            self.left -= array.nbytes
            if self.left < 0:
                raise NotStorable("larger than allowed")


def encode(record: Any, most: int | None = None) -> bytes:
    """Give the bytes of a record.

    Parameters
    ----------
    record : object
        Records of this package, tables, arrays, texts, numbers, dates, paths, lists of these.
    most : int, optional
        Bytes of arrays that it may hold; a larger one is refused before it is written.

    Returns
    -------
    bytes
        A zip file.

    Raises
    ------
    NotStorable
        If it holds any other kind, or more than allowed.

    Examples
    --------
    >>> decode(encode({("soil", 1): (0.1, None, "Cu")}))
    {('soil', 1): (0.1, None, 'Cu')}
    """
    arrays = _Arrays(most)
    tree = _tree(record, arrays)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(zipfile.ZipInfo("tree.json", _EPOCH), json.dumps(tree))
        for number, array in enumerate(arrays):
            content = io.BytesIO()
            np.lib.format.write_array(content, array, allow_pickle=False)
            archive.writestr(zipfile.ZipInfo(f"{number}.npy", _EPOCH), content.getvalue())
    return out.getvalue()


def decode(content: bytes) -> Any:
    """Give the record that `encode` made bytes of.

    Parameters
    ----------
    content : bytes
        From `encode`.

    Returns
    -------
    object
        The record.

    Raises
    ------
    ValueError
        If the bytes are damaged or name something that is no record.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            tree = json.loads(archive.read("tree.json"))

            def array(number: int) -> np.ndarray[Any, Any]:
                with archive.open(f"{number}.npy") as stream:
                    loaded: np.ndarray[Any, Any] = np.lib.format.read_array(
                        io.BytesIO(stream.read()), allow_pickle=False
                    )
                return loaded

            return _grow(tree, array)
    except (zipfile.BadZipFile, LookupError, TypeError, ValueError, AttributeError) as error:
        raise ValueError(f"not a stored record ({error!r})") from error


def _keep(array: np.ndarray[Any, Any], arrays: list[np.ndarray[Any, Any]]) -> int:
    arrays.append(array)
    return len(arrays) - 1


def _tree(value: Any, arrays: list[np.ndarray[Any, Any]]) -> Any:
    kind = type(value)
    if value is None or kind in (bool, int, str):
        return value
    if kind is float:
        return value  # JSON text of Python keeps every bit, NaN and infinities too
    if kind in (list, tuple):
        return {kind.__name__: [_tree(v, arrays) for v in value]}
    if kind is dict:
        return {"dict": [[_tree(k, arrays), _tree(v, arrays)] for k, v in value.items()]}
    if isinstance(value, PurePath):
        return {"path": str(value)}
    if kind is datetime and value.tzinfo is None:
        return {"datetime": value.isoformat()}
    if kind is date:
        return {"date": value.isoformat()}
    if isinstance(value, np.generic):
        return {"scalar": _keep(np.asarray(value), arrays)}
    if kind is np.ndarray:
        if value.dtype == object:
            return {"objects": [list(value.shape), [_tree(v, arrays) for v in value.ravel()]]}
        return {"array": _keep(value, arrays)}
    if dataclasses.is_dataclass(value) and _is_ours(kind):
        fields = {f.name: _tree(getattr(value, f.name), arrays) for f in dataclasses.fields(value)}
        return {"record": [kind.__module__, kind.__qualname__, fields]}
    return _table(value, arrays)


def _is_ours(kind: type) -> bool:
    here = kind.__module__.startswith("geochem.") and "." not in kind.__qualname__
    return here and all(f.init for f in dataclasses.fields(kind))


def _table(value: Any, arrays: list[np.ndarray[Any, Any]]) -> Any:
    import geopandas as gpd
    import pandas as pd

    kind = type(value)
    if kind is pd.Timestamp and value.tzinfo is None:
        return {"timestamp": [value.value, value.unit]}
    if kind not in (pd.DataFrame, gpd.GeoDataFrame) or value.attrs:
        raise NotStorable(f"{kind.__module__}.{kind.__qualname__}")
    if not (
        isinstance(value.index, pd.RangeIndex) and value.index.equals(pd.RangeIndex(len(value)))
    ):
        raise NotStorable("a table whose index is not its row number")
    if value.index.name is not None or value.columns.name is not None:
        raise NotStorable("a table with a named index")
    names = list(value.columns)
    if not all(type(n) is str for n in names) or len(set(names)) < len(names):
        raise NotStorable("a table whose column names are not different texts")
    columns = [[n, _column(value[n], arrays)] for n in names]
    told: dict[str, Any] = {
        "rows": len(value),
        "names": str(value.columns.dtype),
        "columns": columns,
    }
    if kind is gpd.GeoDataFrame:
        told["geometry"] = value.geometry.name
        told["crs"] = None if value.crs is None else value.crs.srs
        if value.crs is not None and gpd.GeoSeries([], crs=value.crs.srs).crs != value.crs:
            raise NotStorable("a CRS that its own text does not give")
    return {"table": told}


def _column(column: Any, arrays: list[np.ndarray[Any, Any]]) -> Any:
    import pandas as pd
    import shapely

    dtype = str(column.dtype)
    if dtype == "geometry":
        shapes = shapely.to_wkb(column.to_numpy(), output_dimension=3, include_srid=False)
        raw = [b"" if s is None else s for s in shapes]
        ends = np.cumsum([len(r) for r in raw], dtype=np.int64)
        body = np.frombuffer(b"".join(raw), dtype=np.uint8)
        return {"geometry": [_keep(body, arrays), _keep(ends, arrays)]}
    if dtype in ("Int64", "Int32"):
        plain = column.to_numpy(dtype=dtype.lower(), na_value=0)
        return {"whole": [dtype, _keep(plain, arrays), _keep(column.isna().to_numpy(), arrays)]}
    if dtype in ("object", "str"):
        cells = column.to_numpy(dtype=object)
        if dtype == "str":
            # what pandas gives may be the column's own array
            cells = np.where(column.isna().to_numpy(), None, cells)
        kinds = set(map(type, cells))
        if kinds <= {str, type(None)}:
            codes, texts = pd.factorize(cells)
            smallest = np.int16 if len(texts) < 32_000 else np.int32
            return {"texts": [dtype, _keep(codes.astype(smallest), arrays), list(texts)]}
        return {"cells": [_tree(c, arrays) for c in cells]}
    if isinstance(column.dtype, np.dtype):
        return {"plain": _keep(column.to_numpy(), arrays)}
    raise NotStorable(f"a column of kind {dtype}")


def _grow(tree: Any, array: Callable[[int], np.ndarray[Any, Any]]) -> Any:
    if not isinstance(tree, dict):
        return tree
    ((kind, told),) = tree.items()
    if kind == "list":
        return [_grow(v, array) for v in told]
    if kind == "tuple":
        return tuple(_grow(v, array) for v in told)
    if kind == "dict":
        return {_grow(k, array): _grow(v, array) for k, v in told}
    if kind == "path":
        return Path(told)
    if kind == "datetime":
        return datetime.fromisoformat(told)
    if kind == "date":
        return date.fromisoformat(told)
    if kind == "scalar":
        return array(told)[()]
    if kind == "array":
        return array(told)
    if kind == "objects":
        shape, cells = told
        flat = np.empty(len(cells), dtype=object)
        for i, cell in enumerate(cells):
            flat[i] = _grow(cell, array)
        return flat.reshape(shape)
    if kind == "record":
        module, name, fields = told
        return _grow_record(module, name, fields, array)
    if kind == "timestamp":
        import pandas as pd

        return pd.Timestamp(told[0], unit="ns").as_unit(told[1])
    if kind == "table":
        return _grow_table(told, array)
    raise ValueError(f"not a stored record: it names the kind {kind!r}")


def _grow_record(
    module: str, name: str, fields: dict[str, Any], array: Callable[[int], np.ndarray[Any, Any]]
) -> Any:
    if not module.startswith("geochem.") or "." in name:
        raise ValueError(f"not a stored record: it names {module}.{name}")
    cls = getattr(importlib.import_module(module), name)
    if not (isinstance(cls, type) and dataclasses.is_dataclass(cls)):
        raise ValueError(f"not a stored record: {module}.{name} is none")
    return cls(**{k: _grow(v, array) for k, v in fields.items()})


def _grow_table(told: dict[str, Any], array: Callable[[int], np.ndarray[Any, Any]]) -> Any:
    import geopandas as gpd
    import pandas as pd

    columns = {name: _grow_column(column, array) for name, column in told["columns"]}
    frame = pd.DataFrame(columns, index=pd.RangeIndex(told["rows"]))
    frame.columns = pd.Index([name for name, _ in told["columns"]], dtype=told["names"])
    if "geometry" not in told:
        return frame
    return gpd.GeoDataFrame(frame, geometry=told["geometry"], crs=told["crs"])


def _grow_column(column: dict[str, Any], array: Callable[[int], np.ndarray[Any, Any]]) -> Any:
    import pandas as pd
    import shapely

    ((kind, told),) = column.items()
    if kind == "plain":
        return array(told)
    if kind == "whole":
        dtype, plain, missing = told
        return pd.array(np.ma.MaskedArray(array(plain), mask=array(missing)).tolist(), dtype=dtype)
    if kind == "texts":
        dtype, codes, texts = told
        pool = np.array([*texts, None], dtype=object)  # code -1 is the last: None
        return pd.Series(pool[array(codes)], dtype=dtype)
    if kind == "cells":
        return pd.Series([_grow(c, array) for c in told], dtype=object)
    if kind == "geometry":
        body, ends = array(told[0]).tobytes(), array(told[1])
        starts = np.r_[0, ends[:-1]] if len(ends) else ends
        raw = [body[a:b] or None for a, b in zip(starts, ends, strict=True)]
        import geopandas as gpd

        return gpd.array.GeometryArray(shapely.from_wkb(np.array(raw, dtype=object)))
    raise ValueError(f"not a stored record: it names a column of kind {kind!r}")
