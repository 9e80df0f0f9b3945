"""Check the docstrings of every public name with numpydoc.

Public is what a package of `geochem` lists in ``__all__``, every public function and class of the
modules that plug-in authors use, and the public methods of all these classes. The rules: there is a
docstring with a summary of one line that ends with a full stop; the parameters are those of the
signature, in its order, each with a kind and a meaning; what is returned or yielded is described.
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import sys
from collections.abc import Iterator

from numpydoc.validate import validate

import geochem

RULES = {
    "GL08", "GL07", "SS01", "SS02", "SS03", "SS04", "PR01", "PR02", "PR03", "PR04", "PR07", "RT01", "RT03",
    "YD01",
}  # fmt: skip
#: what these methods take and give is the contract of scikit-learn's estimators
SCIKIT_LEARN = {"fit", "transform", "inverse_transform", "get_feature_names_out"}
FOR_PLUGINS = ("geochem.plugins", "geochem.testing", "geochem.model", "geochem.errors")


def public_names() -> Iterator[str]:
    """Give the dotted names to check, each once."""
    seen = set()
    packages = ["geochem"]
    packages += [
        f"geochem.{m.name}" for m in pkgutil.iter_modules(geochem.__path__) if m.name[0] != "_"
    ]
    for package in packages:
        module = importlib.import_module(package)
        for name in getattr(module, "__all__", []):
            if not name.startswith("__"):
                yield from _with_methods(getattr(module, name), seen)
    for start in FOR_PLUGINS:
        module = importlib.import_module(start)
        modules = [module]
        for inner in pkgutil.iter_modules(getattr(module, "__path__", [])):
            modules.append(importlib.import_module(f"{start}.{inner.name}"))
        for one in modules:
            for name, thing in vars(one).items():
                own = getattr(thing, "__module__", "") == one.__name__
                if own and name[0] != "_" and callable(thing):
                    yield from _with_methods(thing, seen)


def _with_methods(thing: object, seen: set[str]) -> Iterator[str]:
    if not (inspect.isclass(thing) or inspect.isroutine(thing)):
        return
    name = f"{thing.__module__}.{thing.__qualname__}"
    if not name.startswith("geochem.") or name in seen:
        return
    seen.add(name)
    yield name
    if inspect.isclass(thing):
        for inner, method in vars(thing).items():
            if inner[0] != "_" and inspect.isfunction(method):
                yield f"{name}.{inner}"


def faults_of(name: str) -> list[str]:
    """List what is wrong with one docstring."""
    rules = RULES
    if name.startswith("geochem.composition.") and name.rpartition(".")[2] in SCIKIT_LEARN:
        rules = RULES - {"PR01", "RT01"}
    return [f"{name}: {code} {text}" for code, text in validate(name)["errors"] if code in rules]


def main() -> int:
    """Print the faults; 0 when there is none."""
    names = sorted(set(public_names()))
    faults = [fault for name in names for fault in faults_of(name)]
    for fault in faults:
        print(fault)
    print(f"{len(names)} public names, {len(faults)} faults")
    return 1 if faults or len(names) < 100 else 0


if __name__ == "__main__":
    sys.exit(main())
