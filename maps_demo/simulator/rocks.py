"""What soils over the rock units hold: medians, spreads and common behaviour of the elements.

Every number here is invented. They are of the order of the upper continental crust (Rudnick and
Gao 2003, Treatise on Geochemistry 3.01, recommended upper crust; its values from memory: Cu 28,
Zn 67, Pb 17, Ni 47, Cr 92, As 4.8 mg/kg, Au 1.5 ug/kg ...), moved up or down per rock type in the
direction every textbook gives: mafic rock is richer in Ti, V, Cr, Fe, Co, Ni and Cu, felsic rock
in K, Rb, Ba and Th, carbonate in Ca and Sr, black shale in V, Mo, Zn, Ni and As.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

#: medians of soil over each unit [mg/kg]; invented, see above
_MEDIANS = """
el greywacke siltstone basalt felsic limestone granodiorite black_shale ultramafic granite alluvium ironstone
Al     72000     84000  76000  70000     48000        76000       74000      30000   71000    62000     38000
K      19000     25000   7000  26000     14000        22000       24000       3000   31000    19000      6000
Ca      6000      4200  22000   5200     62000        13000        5500      12000    5600     9000      3000
Ti      4000      4600   8500   2600      2800         3200        4300       2500    1900     3700      3500
V         90       125    220     45        60           72         320        110      30       85       260
Cr        75        92    180     28        48           38         105       1300      16       65       190
Mn       700       620   1300    520       780          560         330       1300     380      640      1500
Fe     36000     45000  78000  24000     25000        29000       42000      85000   18000    34000    190000
Co        13        16     38      7         9           10          17         85       4       12        22
Ni        32        42     85     13        22           17          78        900       7       28        45
Cu        26        36     70     16        19           25          62         40      10       24        38
Zn        75        98    100     62        84           60         190         85      48       70        85
As         8        11      4      7         9            4          24          6       3        7        45
Rb        90       125     25    120        62           95         115         12     190       85        30
Sr       140       110    190    120       270          320         105         60      95      150        50
Y         24        27     25     32        17           18          30          8      30       23        20
Zr       240       190    130    280       130          180         160         45     170      230       160
Nb        11        14      8     14         8            9          13          3      18       11        10
Mo       1.0       1.4    0.9    1.5       1.0          1.3         9.0        0.6     1.6      1.1       4.0
Ag      0.06      0.08   0.07   0.07      0.08         0.06        0.35       0.05    0.05     0.06      0.09
In      0.05      0.06   0.07   0.05      0.04         0.04        0.07       0.03    0.05     0.05      0.09
Sb       0.7       1.0    0.4    0.8       0.9          0.4         3.0        0.5     0.3      0.7       2.2
Te      0.03      0.04   0.03   0.03      0.03         0.03        0.12       0.02    0.02     0.03      0.09
Ba       480       560    210    650       330          640         900         90     520      450       280
W        1.6       2.0    0.8    1.9       1.2          1.6         2.4        0.5     2.6      1.5       1.8
Au    0.0018    0.0022 0.0025 0.0016    0.0018       0.0017      0.0032     0.0024  0.0011   0.0016    0.0035
Pb        19        23      9     24        24           18          29          6      31       19        30
Bi      0.20      0.28   0.10   0.25      0.18         0.20        0.45       0.06    0.35     0.20       0.5
Th       9.5        13      3     14         7           11          12        1.2      22        9         9
Li        35        50     12     25        18           28          45          6      60       38        22
Cs       4.5       6.5    0.7    5.0       3.0          4.5         7.0        0.6      10      4.2       1.5
Sn       2.6       3.2    1.2    3.0       2.0          2.0         3.6        0.7     5.0      2.5       2.4
"""

#: spread of one unit: standard deviation of the natural logarithm [-]; invented
SPREAD: dict[str, float] = {
    "Al": 0.15, "K": 0.20, "Ca": 0.42, "Ti": 0.20, "V": 0.24, "Cr": 0.30, "Mn": 0.42, "Fe": 0.22,
    "Co": 0.32, "Ni": 0.30, "Cu": 0.32, "Zn": 0.28, "As": 0.42, "Rb": 0.20, "Sr": 0.26,
    "Y": 0.20, "Zr": 0.24, "Nb": 0.20, "Mo": 0.42, "Ag": 0.45, "In": 0.25, "Sb": 0.45, "Te": 0.45,
    "Ba": 0.24, "W": 0.38, "Au": 0.65, "Pb": 0.28, "Bi": 0.42, "Th": 0.22,
    "Li": 0.30, "Cs": 0.34, "Sn": 0.30,
}  # fmt: skip

#: how strongly an element follows the common factors (mafic, felsic and clay, carbonate,
#: sulphide) of its unit: correlations with the factor [-]; invented
LOADINGS: dict[str, tuple[float, float, float, float]] = {
    "Al": (0.2, 0.7, -0.3, 0.0), "K": (-0.2, 0.8, -0.1, 0.0), "Ca": (0.1, -0.2, 0.85, 0.0),
    "Ti": (0.7, 0.2, -0.1, 0.0), "V": (0.8, 0.2, -0.1, 0.1), "Cr": (0.75, 0.0, 0.0, 0.0),
    "Mn": (0.5, 0.0, 0.2, 0.3), "Fe": (0.8, 0.2, -0.2, 0.2), "Co": (0.8, 0.0, 0.1, 0.2),
    "Ni": (0.8, 0.1, 0.0, 0.1), "Cu": (0.55, 0.1, 0.0, 0.35), "Zn": (0.4, 0.3, 0.0, 0.45),
    "As": (0.1, 0.2, -0.1, 0.65), "Rb": (-0.2, 0.85, -0.1, 0.0), "Sr": (0.0, 0.0, 0.8, 0.0),
    "Y": (0.1, 0.45, 0.0, 0.0), "Zr": (-0.2, -0.3, -0.2, 0.0), "Nb": (0.1, 0.5, 0.0, 0.0),
    "Mo": (0.0, 0.2, 0.0, 0.45), "Ag": (0.1, 0.1, 0.0, 0.55), "In": (0.3, 0.3, 0.0, 0.4),
    "Sb": (0.0, 0.2, 0.0, 0.65), "Te": (0.1, 0.0, 0.0, 0.5), "Ba": (-0.1, 0.6, 0.1, 0.1),
    "W": (0.0, 0.35, 0.0, 0.3), "Au": (0.1, 0.0, 0.0, 0.35), "Pb": (-0.1, 0.4, 0.0, 0.45),
    "Bi": (0.0, 0.3, 0.0, 0.5), "Th": (-0.2, 0.75, -0.1, 0.0),
    "Li": (-0.1, 0.6, 0.0, 0.0), "Cs": (-0.2, 0.7, 0.0, 0.1), "Sn": (-0.1, 0.55, 0.0, 0.2),
}  # fmt: skip

#: how much manganese and iron oxides along drainage take up: natural-log units at full strength
#: [-]; the order of the elements is common knowledge, the numbers are invented
SCAVENGED: dict[str, float] = {
    "Mn": 1.0, "Co": 0.7, "Ba": 0.3, "Zn": 0.4, "Ni": 0.3, "Pb": 0.2, "Fe": 0.2, "As": 0.25,
    "Cu": 0.15, "Mo": 0.2,
}  # fmt: skip

#: what organic matter does in wet ground: natural-log units at full strength [-]. It binds copper,
#: zinc, molybdenum, silver and lead, and takes the room of what is not named; invented
ORGANIC: dict[str, float] = {
    "Cu": 0.35, "Zn": 0.30, "Mo": 0.45, "Ag": 0.45, "Pb": 0.25, "Ca": 0.30, "Au": 0.20,
    "Sb": 0.10, "Mn": 0.15, "As": 0.05, "Ni": 0.05, "Co": 0.0,
}  # fmt: skip
ORGANIC_DILUTION = -0.45

#: elements that a portable XRF does not see in soil
BEYOND_XRF: frozenset[str] = frozenset({"Au", "Li", "Cs"})

#: extra error of one spade of soil against the place it stands for: standard deviation of the
#: natural logarithm [-]; gold is particulate. Invented
SAMPLING_ERROR: dict[str, float] = {"Au": 0.45, "W": 0.15, "Zr": 0.12}
SAMPLING_ERROR_USUAL = 0.09


def _read_medians() -> dict[str, dict[str, float]]:
    lines = [line.split() for line in _MEDIANS.strip().splitlines()]
    units = lines[0][1:]
    table: dict[str, dict[str, float]] = {unit: {} for unit in units}
    for element, *cells in lines[1:]:
        for unit, cell in zip(units, cells, strict=True):
            table[unit][element] = float(cell)
    return table


#: rock -> element -> median of the soil over it [mg/kg]
MEDIANS: dict[str, dict[str, float]] = _read_medians()

ROCKS: tuple[str, ...] = tuple(MEDIANS)

#: all elements the ground is made of
ELEMENTS: tuple[str, ...] = tuple(SPREAD)


def median_matrix(rocks: tuple[str, ...], elements: tuple[str, ...]) -> npt.NDArray[np.float64]:
    """Give the soil medians as an array.

    Parameters
    ----------
    rocks : tuple of str
        Keys of `MEDIANS`.
    elements : tuple of str
        Out of `ELEMENTS`.

    Returns
    -------
    ndarray, shape (n_rocks, n_elements)
        Medians. [mg/kg]
    """
    return np.array([[MEDIANS[rock][element] for element in elements] for rock in rocks])


def loading_matrix(elements: tuple[str, ...]) -> npt.NDArray[np.float64]:
    """Give the factor loadings as an array.

    Parameters
    ----------
    elements : tuple of str
        Out of `ELEMENTS`.

    Returns
    -------
    ndarray, shape (n_elements, 4)
        Correlations with the factors. [-]
    """
    return np.array([LOADINGS[element] for element in elements])


def correlation_matrix(elements: tuple[str, ...]) -> npt.NDArray[np.float64]:
    """Give the correlation of log concentrations that is asked of one unit.

    Parameters
    ----------
    elements : tuple of str
        Out of `ELEMENTS`.

    Returns
    -------
    ndarray, shape (n_elements, n_elements)
        Correlations. [-]
    """
    loadings = loading_matrix(elements)
    out = loadings @ loadings.T
    np.fill_diagonal(out, 1.0)
    return out
