"""What a header says: element, unit, error, limit, method; never more than it says.

The rules, in the order in which they are tried:

1. A species or quantity with a name of its own (``C_inorg``, ``LOI``, ``pH``, ``Balance``).
2. A symbol, an oxide or an English element name, then a unit, words for an error or a limit, and
   the code of a method, in any order: ``Cu_ppm``, ``Fe2O3 wt%``, ``Cu 2s``, ``Cu_ME4A_ppm``.
3. Anything left over that is no code of a method makes it no analyte (``As received``, ``Cu/Zn``).

The case of symbols is judged for the whole table (`CaseOfTable`): ``CO`` among ``CU`` and ``PB``
is cobalt, ``CO`` beside ``Cu`` is not read, ``No`` is always a running number.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from geochem import units
from geochem.elements import OXIDES, SYMBOLS
from geochem.read.numerals import plain
from geochem.read.synonyms import COLUMNS, RUNNING_NUMBER, squeeze

#: English element names (both spellings where there are two) -> symbol
ENGLISH: dict[str, str] = {
    "aluminium": "Al", "aluminum": "Al", "antimony": "Sb", "arsenic": "As", "barium": "Ba",
    "beryllium": "Be", "bismuth": "Bi", "boron": "B", "bromine": "Br", "cadmium": "Cd",
    "caesium": "Cs", "cesium": "Cs", "calcium": "Ca", "carbon": "C", "cerium": "Ce",
    "chlorine": "Cl", "chromium": "Cr", "cobalt": "Co", "copper": "Cu", "dysprosium": "Dy",
    "erbium": "Er", "europium": "Eu", "fluorine": "F", "gadolinium": "Gd", "gallium": "Ga",
    "germanium": "Ge", "gold": "Au", "hafnium": "Hf", "holmium": "Ho", "indium": "In",
    "iodine": "I", "iridium": "Ir", "iron": "Fe", "lanthanum": "La", "lead": "Pb",
    "lithium": "Li", "lutetium": "Lu", "magnesium": "Mg", "manganese": "Mn", "mercury": "Hg",
    "molybdenum": "Mo", "neodymium": "Nd", "nickel": "Ni", "niobium": "Nb", "nitrogen": "N",
    "osmium": "Os", "palladium": "Pd", "phosphorus": "P", "platinum": "Pt", "potassium": "K",
    "praseodymium": "Pr", "rhenium": "Re", "rhodium": "Rh", "rubidium": "Rb", "ruthenium": "Ru",
    "samarium": "Sm", "scandium": "Sc", "selenium": "Se", "silicon": "Si", "silver": "Ag",
    "sodium": "Na", "strontium": "Sr", "sulfur": "S", "sulphur": "S", "tantalum": "Ta",
    "tellurium": "Te", "terbium": "Tb", "thallium": "Tl", "thorium": "Th", "thulium": "Tm",
    "tin": "Sn", "titanium": "Ti", "tungsten": "W", "uranium": "U", "vanadium": "V",
    "ytterbium": "Yb", "yttrium": "Y", "zinc": "Zn", "zirconium": "Zr",
}  # fmt: skip

#: species that keep a name of their own and stay concentrations of the element named first
SPECIES: dict[str, str] = {
    "ctotal": "C_total", "ctot": "C_total", "totalc": "C_total", "totalcarbon": "C_total",
    "carbontotal": "C_total", "tc": "C_total",
    "cinorg": "C_inorganic", "cinorganic": "C_inorganic", "inorganicc": "C_inorganic",
    "tic": "C_inorganic", "inorganiccarbon": "C_inorganic", "ccarbonate": "C_inorganic",
    "corg": "C_organic", "corganic": "C_organic", "organicc": "C_organic", "toc": "C_organic",
    "organiccarbon": "C_organic", "totalorganiccarbon": "C_organic",
    "stotal": "S_total", "stot": "S_total", "totals": "S_total", "totalsulphur": "S_total",
    "totalsulfur": "S_total",
    "ssulphide": "S_sulphide", "ssulfide": "S_sulphide", "sulphides": "S_sulphide",
    "ssulphate": "S_sulphate", "ssulfate": "S_sulphate",
    "cr6": "Cr_6", "crvi": "Cr_6", "fe2": "Fe_2", "feii": "Fe_2",
}  # fmt: skip

#: quantities that are no concentration of an element and keep their unit -> (name, usual unit)
OTHERS: dict[str, tuple[str, str]] = {
    "loi": ("LOI", "%"), "lossonignition": ("LOI", "%"), "loi1000": ("LOI", "%"),
    "ph": ("pH", "pH"), "phh2o": ("pH", "pH"), "phcacl2": ("pH", "pH"),
    "moisture": ("moisture", "%"), "moist": ("moisture", "%"), "h2o": ("moisture", "%"),
    "h2ominus": ("moisture", "%"),
    "balance": ("balance", "%"), "bal": ("balance", "%"), "le": ("balance", "%"),
    "lightelements": ("balance", "%"), "lighteles": ("balance", "%"),
    "total": ("total", "%"), "sum": ("total", "%"), "totaloxides": ("total", "%"),
}  # fmt: skip

_ERRORS: dict[str, float | None] = {
    "+/-": None, "±": None, "+-": None, "error": None, "err": None, "unc": None,
    "uncertainty": None, "sigma": 1.0, "sd": 1.0, "stdev": 1.0, "std": 1.0, "stddev": 1.0,
    "precision": None, "plusminus": None,
    **{f"{k}{w}": float(k) for k in (1, 2, 3) for w in ("s", "sd", "sigma", "σ", "se")},
}  # fmt: skip
_RELATIVE = frozenset({"rsd", "rsd%", "%rsd", "cv", "cv%"})
_LIMITS = frozenset({"lod", "dl", "mdl", "lld", "ldl", "limit", "detlimit"})
_FLAGS: dict[str, str] = {
    "q": "qualifier", "qual": "qualifier", "qualifier": "qualifier", "flag": "qualifier",
    "below": "below", "above": "above", "modifier": "qualifier", "sign": "qualifier",
}  # fmt: skip
_FILLERS = frozenset({"conc", "concentration", "value", "result", "content", "assay", "in"})
_TOTAL_IRON = frozenset({"t", "tot", "total", "*"})
#: words of numbers that were calculated from an element and are no reading of it
_DERIVED = frozenset(
    {"log", "log10", "ln", "z", "zscore", "rank", "percentile", "clr", "ilr", "norm", "ratio",
     "normalised", "normalized", "mean", "avg", "average", "median", "min", "max", "count", "n",
     "p", "score", "threshold", "index", "residual", "cps", "counts", "intensity", "used",
     "group", "class", "ef", "area"}
)  # fmt: skip
#: words of units that are no share of the mass, or not beyond doubt one (ounces per which ton;
#: parts per trillion or per thousand): what carries them is not read
_STRANGE_UNITS = frozenset(
    {"at", "atom", "atomic", "at%", "atom%", "mol", "mole", "molar", "mol%", "vol", "vol%",
     "mmol", "umol", "meq", "mgl", "ugl", "ngl", "mg/l", "ug/l", "µg/l", "ng/l", "g/l", "mg/m3",
     "ppt", "ppq", "oz", "ozt", "oz/t", "ozt/t", "oz/ton", "ozton", "dwt", "dwt/t", "lb", "lbs",
     "lb/t", "lbs/t", "lb/ton", "kg/t", "cps", "kcps", "counts", "ppm-m"}
)  # fmt: skip
#: in capitals these may be something else (carbon monoxide, number, missing, hydrogen fluoride)
AMBIGUOUS_CAPITALS = frozenset({"CO", "NO", "NA", "HF"})

_UPPER = {s.upper(): s for s in SYMBOLS}
_LOWER = {s.lower(): s for s in SYMBOLS}
_OXIDE_UPPER = {o.upper(): o for o in OXIDES}
_METHOD_CODE = re.compile(r"(?=.*[A-Z0-9])[A-Z0-9][A-Z0-9.\-]*[a-z]?", re.ASCII)


@dataclass(frozen=True, slots=True)
class HeaderMeaning:
    """What a header says.

    Parameters
    ----------
    kind : {"value", "error", "relative_error", "limit", "qualifier", "below", "above", "other"}
        ``other`` for LOI, pH and their like.
    element : str
        Symbol, species or quantity.
    symbol : str
        The word of the header that names it (an oxide stays an oxide).
    unit : str, optional
        Key of `units.FACTORS` (or ``"pH"``), None when the header gives none.
    oxide : str, optional
        Key of `elements.OXIDES`.
    sigma : float, optional
        Of an error, when the header says so.
    method : str, optional
        Code of a method in the header.
    case : {"proper", "upper", "lower", "name"}
        How the symbol is written.
    """

    kind: str
    element: str
    symbol: str
    unit: str | None = None
    oxide: str | None = None
    sigma: float | None = None
    method: str | None = None
    case: str = "proper"


@lru_cache(maxsize=65536)
def understand_header(text: str) -> HeaderMeaning | None:
    """Read one header as an analyte, whatever the case of its symbol.

    Parameters
    ----------
    text : str
        As delivered.

    Returns
    -------
    HeaderMeaning or None
        None when it names no analyte.

    Examples
    --------
    >>> understand_header("Fe2O3 wt%").element, understand_header("Cu_ME4A_ppm").method
    ('Fe', 'ME4A')
    >>> understand_header("As received") is None, understand_header("Cu 2s").sigma
    (True, 2.0)
    """
    text = " ".join(plain(text).replace("μ", "µ").split())
    if not text or len(text) > 60:
        return None
    for spelled in (text, text.replace(".", " ")):
        found = _understand(spelled)
        if found is not None:
            return found
    return None


def _understand(text: str) -> HeaderMeaning | None:
    body, unit = _take_unit(_spread(text))
    tokens = [t for t in re.split(r"[\s_,;:()\[\]]+", body) if t and t not in "-="]
    if not tokens:
        return None
    kind = "value"
    sigma: float | None = None
    method: list[str] = []
    left: list[str] = []
    for token in tokens:
        low = token.lower()
        if low in _ERRORS and (left or method or len(tokens) > 1):
            kind = "error"
            sigma = _ERRORS[low] if _ERRORS[low] is not None else sigma
        elif low in _RELATIVE:
            kind = "relative_error"
        elif low in _LIMITS and left:
            kind = "limit"
        elif low in _FLAGS and left:
            kind = _FLAGS[low]
        elif not (low in _FILLERS and len(tokens) > 1 and (left or low != "in")):
            left.append(token)
    joined = squeeze("".join(left))
    if joined in SPECIES:
        return HeaderMeaning(kind, SPECIES[joined], " ".join(left), unit, None, sigma)
    if joined in OTHERS and kind == "value":
        if joined == "le" and left[0] not in {"LE", "Le", "le"}:
            return None
        name, usual = OTHERS[joined]
        return HeaderMeaning("other", name, " ".join(left), unit or usual)
    if joined in OTHERS:
        return HeaderMeaning("ignored", OTHERS[joined][0], " ".join(left), unit)
    hits = [(i, s) for i, s in ((i, _symbol(t)) for i, t in enumerate(left)) if s]
    if not hits:
        return None
    # the first word, else the only one written as a chemist writes it
    place, (element, oxide, case) = hits[0]
    if place:
        proper = [(i, s) for i, s in hits if s[2] in ("proper", "name")]
        if len(proper) != 1:
            return None
        place, (element, oxide, case) = proper[0]
        if unit is None and kind == "value":
            return None
    symbol = left[place]
    for token in left[:place] + left[place + 1 :]:
        low = token.lower()
        if low in _DERIVED or low.strip(".") in _STRANGE_UNITS:
            return None
        if element == "Fe" and oxide and low in _TOTAL_IRON:
            continue
        code = bool(_METHOD_CODE.fullmatch(token)) and (len(token) > 1)
        if code or (unit is not None and re.fullmatch(r"[\w.\-]+", token)):
            method.append(token)
        else:
            return None
    if oxide == "CO2":
        element = (
            "C_CO2"  # carbon by its carbon dioxide: total in one method, carbonate in another
        )
    if unit is None and method and len(symbol) == 1 and not any(c.isdigit() for c in method[0]):
        return None  # "S NO", "I D"
    return HeaderMeaning(kind, element, symbol, unit, oxide, sigma, "_".join(method) or None, case)


def _spread(text: str) -> str:
    """Part what is written together: ``Cu+/-``, ``Fe%``, ``Cu(ppm)``."""
    text = re.sub(r"(\+/-|±|\+-)", r" \1 ", text)
    text = re.sub(r"\b([123])[\s-]+(sigma|sd|σ|s)\b", r"\1\2", text, flags=re.IGNORECASE)
    parted = re.fullmatch(r"([A-Z][a-z]?|[A-Z][A-Za-z0-9]*O\d?)-(\w.*)", text)
    if parted and _symbol(parted[1]):
        text = f"{parted[1]} {parted[2]}"
    return re.sub(r"(?<![\sA-Za-z.(%])%|(?<=[A-Z][a-z])%|(?<=^[A-Z])%|(?<=O)%", " %", text)


def _take_unit(text: str) -> tuple[str, str | None]:
    """Take a unit off the end, or out of brackets, or off the beginning."""
    for match in re.finditer(r"[(\[]([^()\[\]]*)[)\]]", text):
        known = units.read_unit(match[1])
        if known:
            return (text[: match.start()] + " " + text[match.end() :]).strip(), known
    parts = [p for p in re.split(r"[\s_,;:]+", text) if p]
    for take in (3, 2, 1):
        if len(parts) > take:
            tail = " ".join(parts[-take:])
            known = units.read_unit(tail)
            if known:
                return " ".join(parts[:-take]), known
    # in the middle (``Cu ppm 2s``) or in front (``ppm Cu``)
    for i, part in enumerate(parts):
        known = units.read_unit(part)
        if known and len(parts) > 1 and part.lower() not in {"opt", "gt", "pm"}:
            return " ".join(parts[:i] + parts[i + 1 :]), known
    return text, None


@lru_cache(maxsize=65536)
def _symbol(token: str) -> tuple[str, str | None, str] | None:
    """Read one word as symbol, oxide or English name: ``(element, oxide, case)``."""
    if token in SYMBOLS:
        return token, None, "proper"
    if token in OXIDES:
        return OXIDES[token], token, "proper"
    match = re.fullmatch(r"(Fe2O3|FeO)(?:T|t|tot|\*)", token)
    if match:
        return "Fe", match[1], "proper"
    low = token.lower()
    if low in ENGLISH:
        return ENGLISH[low], None, "name"
    if token.upper() in _OXIDE_UPPER and token.upper() != "CO" and len(token) > 2:
        oxide = _OXIDE_UPPER[token.upper()]
        return OXIDES[oxide], oxide, "proper"
    if len(token) == 2 and token.isalpha():
        if token.isupper() and token in _UPPER:
            return _UPPER[token], None, "upper"
        if token.islower() and token in _LOWER:
            return _LOWER[token], None, "lower"
    return None


def is_strange_unit(text: str) -> bool:
    """Say whether a cell is a unit that is no share of the mass, or not beyond doubt one."""
    word = plain(text).replace("μ", "µ").strip("()[]. ").lower()
    return word in _STRANGE_UNITS or word.split(" ")[0] in _STRANGE_UNITS


def strange_unit(header: str, cell: str = "") -> str | None:
    """Give the unit of a header that names an element in a unit that is not read.

    Parameters
    ----------
    header : str
        As delivered.
    cell : str, optional
        Of a row of units.

    Returns
    -------
    str or None
        None if the header names no element, or nothing is wrong with its unit.

    Examples
    --------
    >>> strange_unit("Ag_oz/t"), strange_unit("Fe at. %"), strange_unit("Cu_ppm")
    ('oz/t', 'at. %', None)
    """
    text = " ".join(plain(header).replace("μ", "µ").split())
    tokens = [t for t in re.split(r"[\s_,;:()\[\]]+", text) if t]
    if not tokens or _symbol(tokens[0]) is None:
        return None
    if cell:
        looks = is_strange_unit(cell) or any(c in cell for c in "/%")
        return cell if looks and not units.read_unit(cell) else None
    for i, token in enumerate(tokens[1:], 1):
        if is_strange_unit(token):
            return " ".join(tokens[i:])
    return None


def looks_like_header(text: str, *, analytes_only: bool = False) -> bool:
    """Say whether a cell is a header known here.

    Parameters
    ----------
    text : str
        A cell.
    analytes_only : bool, default False
        Only elements and their like, not sample id, position and so on.

    Returns
    -------
    bool
        For finding the row of names; not for reading them.
    """
    if _NO_WORD.fullmatch(text):
        return False
    meaning = understand_header(text)
    if meaning is not None and (meaning.case != "lower" or len(meaning.symbol) > 1):
        return True
    if analytes_only:
        return False
    return squeeze(text) in _ALL_WORDS or strip_unit(text) in _ALL_WORDS


_NO_WORD = re.compile(r"[\d\s.,<>+\-/:%]*")
_ALL_WORDS = {word for words in COLUMNS.values() for word in words} | set(RUNNING_NUMBER)
_LENGTHS = re.compile(r"(?:metres?|meters?|um|mm|cm|ml|deg|degrees|dd|wgs84|utm|m|pct|%|g)$")


def strip_unit(text: str) -> str:
    """Give the squeezed header without a unit of length and the like at its end."""
    word = squeeze(text)
    parted = re.split(r"[\s_(\[]+", text.strip().rstrip(")]").casefold())
    if len(parted) > 1 and _LENGTHS.fullmatch(parted[-1]):
        return squeeze("".join(parted[:-1]))
    return word


def case_of_table(meanings: Iterable[HeaderMeaning | None]) -> str:
    """Say how a table writes symbols of two letters: ``proper``, ``upper`` or ``lower``."""
    cases = [m.case for m in meanings if m is not None and m.oxide is None and len(m.symbol) == 2]
    if "proper" in cases:
        return "proper"
    upper, lower = cases.count("upper"), cases.count("lower")
    return "upper" if upper >= lower and upper else ("lower" if lower else "proper")
