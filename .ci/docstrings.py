"""Check the docstrings of every public name with numpydoc.

Public is what a package of `geochem` lists in ``__all__``, every public function and class of the
modules that plug-in authors use, and the public methods of all these classes. The rules: there is a
docstring with a summary of one line that ends with a full stop; the parameters are those of the
signature, in its order, each with a kind and a meaning; what is returned or yielded is described.

What is public in any other module may do with the summary where that says all; parameters that are
described at all must be all of the signature's, in its order, and what is returned stands with them.
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
#: of the names inside, and those where a docstring describes parameters
BRIEF = {"GL08", "SS01", "SS02", "SS03", "SS04"}
WHOLE = {*BRIEF, "PR01", "PR02", "PR03", "RT01"}
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


def inner_names() -> Iterator[str]:
    """Give the dotted names of what is public in any module."""
    seen: set[str] = set()
    for found in pkgutil.walk_packages(geochem.__path__, "geochem."):
        if not any(part.startswith("_") for part in found.name.split(".")):
            module = importlib.import_module(found.name)
            for name, thing in vars(module).items():
                if name[0] != "_" and getattr(thing, "__module__", "") == found.name:
                    yield from _with_methods(thing, seen)


def faults_of(name: str, *, inner: bool = False) -> list[str]:
    """List what is wrong with one docstring."""
    found = validate(name)
    rules = RULES
    if inner:
        rules = WHOLE if "Parameters\n" in (found["docstring"] or "") else BRIEF
    elif name.startswith("geochem.composition.") and name.rpartition(".")[2] in SCIKIT_LEARN:
        rules = RULES - {"PR01", "RT01"}
    return [f"{name}: {code} {text}" for code, text in found["errors"] if code in rules]


def main() -> int:
    """Print the faults; 0 when there is none."""
    names = sorted(set(public_names()))
    within = sorted(set(inner_names()) - set(names))
    faults = [fault for name in names for fault in faults_of(name)]
    faults += [fault for name in within for fault in faults_of(name, inner=True)]
    for fault in faults:
        print(fault)
    print(f"{len(names)} public names, {len(within)} inside, {len(faults)} faults")
    return 1 if faults or len(names) < 100 else 0


if __name__ == "__main__":
    sys.exit(main())
