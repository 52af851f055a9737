"""Which leaveners and acids are there, and what does each bring to the water?

Neutralising value (NV): grams of baking soda that 100 g of the acid neutralise. It is
*computed* (100 n 84.006 / M) where n protons are given up for certain, and *tabulated*
where only a titration tells, because solids fall out on the way. Tabulated values stand
alike in three public tables (Miller, Food Chemistry: A Laboratory Manual, 2nd ed., Table
2.1, and two supplier sheets); the method is AACC 02-32.02. Never derive them from pK.

Molar masses: IUPAC abridged atomic weights. Grams per teaspoon are level US teaspoons
(4.929 mL), food-composition portions from memory, sureness B or C.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

SODA_MOLAR_MASS = 84.006
CO2_MOLAR_MASS = 44.009
AMMONIA_MOLAR_MASS = 17.031
SODIUM_MOLAR_MASS = 22.990
ALUMINIUM_MOLAR_MASS = 26.982

Role = Literal["leavener", "acid", "filler", "powder"]
Sureness = Literal["A", "B", "C"]


@dataclass(frozen=True, kw_only=True)
class Substance:
    """A pure substance; every count is mol in one mol.

    ``acids``: what it adds to each acid system of ``constants.ACIDS``; ``carbon``:
    inorganic carbon; ``fixed_charge`` and ``fixed_strength``: sum of z and z² over ions that
    take no part; ``protons``: given up to soda when the NV is computed. ``dissolves`` is
    False where calcium, magnesium or aluminium phosphates fall out, so that a pH computed
    from it is rough. ``release``: its key in ``release.RELEASE``.
    """

    name: str
    formula: str
    molar_mass: float
    role: Role
    acids: Mapping[str, float] = field(default_factory=dict)
    carbon: float = 0.0
    ammonia: float = 0.0
    fixed_charge: float = 0.0
    fixed_strength: float = 0.0
    sodium: float = 0.0
    aluminium: float = 0.0
    protons: float | None = None
    tabulated_nv: float | None = None
    dissolves: bool = True
    release: str | None = None
    grams_per_tsp: float | None = None
    source: str = "stoichiometry"
    sureness: Sureness = "A"
    aliases: tuple[str, ...] = ()

    @property
    def neutralising_value(self) -> float | None:
        """g soda neutralised by 100 g; None for what is no acid."""
        if self.tabulated_nv is not None:
            return self.tabulated_nv
        if self.protons is None:
            return None
        return 100.0 * self.protons * SODA_MOLAR_MASS / self.molar_mass

    @property
    def nv_kind(self) -> Literal["computed", "tabulated"] | None:
        if self.tabulated_nv is not None:
            return "tabulated"
        return None if self.protons is None else "computed"

    @property
    def sodium_share(self) -> float:
        """g sodium in 1 g."""
        return self.sodium * SODIUM_MOLAR_MASS / self.molar_mass

    @property
    def aluminium_share(self) -> float:
        """g aluminium in 1 g."""
        return self.aluminium * ALUMINIUM_MOLAR_MASS / self.molar_mass

    @property
    def equivalent_mass(self) -> float | None:
        """g that give up one mol of protons to soda."""
        value = self.neutralising_value
        return None if value is None else 100.0 * SODA_MOLAR_MASS / value


_TABLES = "titration tables, alike in three public sources (method AACC 02-32.02)"


def _pure_acid(
    name: str,
    formula: str,
    molar_mass: float,
    system: str,
    protons: int,
    *,
    aliases: tuple[str, ...] = (),
    **other: object,
) -> Substance:
    return Substance(
        name=name,
        formula=formula,
        molar_mass=molar_mass,
        role="acid",
        acids={system: 1.0},
        protons=float(protons),
        release=other.pop("release", "at once"),  # type: ignore[arg-type]
        aliases=aliases,
        **other,  # type: ignore[arg-type]
    )


def _acid_pyrophosphate(grade: int) -> Substance:
    return Substance(
        name=f"acid pyrophosphate {grade}",
        formula="Na2H2P2O7",
        molar_mass=221.936,
        role="acid",
        acids={"pyrophosphoric": 1.0},
        fixed_charge=2.0,
        fixed_strength=2.0,
        sodium=2.0,
        tabulated_nv=72.0,
        release=f"acid pyrophosphate {grade}",
        source=_TABLES,
        sureness="B",
        aliases=(f"SAPP {grade}",),
    )


_LIST = (
    Substance(
        name="baking soda",
        formula="NaHCO3",
        molar_mass=SODA_MOLAR_MASS,
        role="leavener",
        carbon=1.0,
        fixed_charge=1.0,
        fixed_strength=1.0,
        sodium=1.0,
        grams_per_tsp=4.6,
        aliases=("soda", "bicarbonate of soda", "sodium bicarbonate"),
    ),
    Substance(
        name="potassium bicarbonate",
        formula="KHCO3",
        molar_mass=100.114,
        role="leavener",
        carbon=1.0,
        fixed_charge=1.0,
        fixed_strength=1.0,
    ),
    Substance(
        name="ammonium bicarbonate",
        formula="NH4HCO3",
        molar_mass=79.055,
        role="leavener",
        acids={"ammonium": 1.0},
        carbon=1.0,
        ammonia=1.0,
        aliases=("baker's ammonia", "hartshorn"),
    ),
    Substance(
        name="cream of tartar",
        formula="KHC4H4O6",
        molar_mass=188.176,
        role="acid",
        acids={"tartaric": 1.0},
        fixed_charge=1.0,
        fixed_strength=1.0,
        protons=1.0,
        release="at once",
        grams_per_tsp=3.0,
        aliases=("potassium bitartrate",),
    ),
    _pure_acid("tartaric acid", "C4H6O6", 150.086, "tartaric", 2),
    _pure_acid("citric acid", "C6H8O7", 192.123, "citric", 3, grams_per_tsp=4.5, sureness="B"),
    _pure_acid("citric acid monohydrate", "C6H8O7·H2O", 210.138, "citric", 3),
    _pure_acid("malic acid", "C4H6O5", 134.087, "malic", 2),
    _pure_acid("lactic acid", "C3H6O3", 90.078, "lactic", 1),
    _pure_acid("acetic acid", "C2H4O2", 60.052, "acetic", 1),
    _pure_acid("succinic acid", "C4H6O4", 118.088, "succinic", 2),
    _pure_acid("ascorbic acid", "C6H8O6", 176.124, "ascorbic", 1, aliases=("vitamin C",)),
    _pure_acid("fumaric acid", "C4H4O4", 116.072, "fumaric", 2, release="slowly dissolving"),
    _pure_acid("adipic acid", "C6H10O4", 146.142, "adipic", 2, release="adipic"),
    Substance(
        name="glucono-delta-lactone",
        formula="C6H10O6",
        molar_mass=178.140,
        role="acid",
        acids={"gluconic": 1.0},
        protons=1.0,
        tabulated_nv=45.0,
        release="glucono-delta-lactone",
        source=f"{_TABLES}; 47.2 if it hydrolysed wholly",
        sureness="B",
        aliases=("GDL",),
    ),
    Substance(
        name="monosodium phosphate",
        formula="NaH2PO4",
        molar_mass=119.976,
        role="acid",
        acids={"phosphoric": 1.0},
        fixed_charge=1.0,
        fixed_strength=1.0,
        sodium=1.0,
        protons=1.0,
        release="at once",
    ),
    *(_acid_pyrophosphate(grade) for grade in (22, 28, 36, 40)),
    Substance(
        name="monocalcium phosphate",
        formula="Ca(H2PO4)2·H2O",
        molar_mass=252.065,
        role="acid",
        # CaHPO4 falls out and leaves one phosphoric acid.
        acids={"phosphoric": 1.0},
        tabulated_nv=80.0,
        dissolves=False,
        release="monocalcium phosphate",
        source=_TABLES,
        sureness="B",
        aliases=("MCP",),
    ),
    Substance(
        name="coated monocalcium phosphate",
        formula="Ca(H2PO4)2",
        molar_mass=234.050,
        role="acid",
        # CaHPO4 falls out and leaves one phosphoric acid.
        acids={"phosphoric": 1.0},
        tabulated_nv=83.0,
        dissolves=False,
        release="coated monocalcium phosphate",
        source=f"{_TABLES}; one textbook prints 82",
        sureness="B",
        aliases=("AMCP",),
    ),
    Substance(
        name="sodium aluminium phosphate",
        formula="NaH14Al3(PO4)8·4H2O",
        molar_mass=949.864,
        role="acid",
        # Three AlPO4 fall out and leave five phosphates with the sodium.
        acids={"phosphoric": 5.0},
        fixed_charge=1.0,
        fixed_strength=1.0,
        sodium=1.0,
        aluminium=3.0,
        tabulated_nv=100.0,
        dissolves=False,
        release="sodium aluminium phosphate",
        source=_TABLES,
        sureness="B",
        aliases=("SALP",),
    ),
    Substance(
        name="sodium aluminium sulfate",
        formula="NaAl(SO4)2",
        molar_mass=242.083,
        role="acid",
        # Al(OH)3 falls out as the pH rises and sets three protons free; sodium and two sulfates stay.
        acids={"aluminium": 1.0},
        fixed_charge=-3.0,
        fixed_strength=9.0,
        sodium=1.0,
        aluminium=1.0,
        protons=3.0,
        dissolves=False,
        release="sodium aluminium sulfate",
        source="stoichiometry with Al(OH)3; trade tables 100 to 104",
        sureness="B",
        aliases=("SAS",),
    ),
    Substance(
        name="potassium alum",
        formula="KAl(SO4)2·12H2O",
        molar_mass=474.372,
        role="acid",
        acids={"aluminium": 1.0},
        fixed_charge=-3.0,
        fixed_strength=9.0,
        aluminium=1.0,
        protons=3.0,
        dissolves=False,
        release="sodium aluminium sulfate",
        source="stoichiometry with Al(OH)3",
        sureness="B",
        aliases=("pickling alum",),
    ),
    Substance(
        name="ammonium alum",
        formula="NH4Al(SO4)2",
        molar_mass=237.131,
        role="acid",
        acids={"ammonium": 1.0, "aluminium": 1.0},
        ammonia=1.0,
        fixed_charge=-4.0,
        fixed_strength=8.0,
        aluminium=1.0,
        protons=3.0,
        dissolves=False,
        release="sodium aluminium sulfate",
        source="stoichiometry with Al(OH)3",
        sureness="B",
    ),
    Substance(
        name="dicalcium phosphate",
        formula="CaHPO4·2H2O",
        molar_mass=172.086,
        role="acid",
        # Five turn into one hydroxyapatite and two phosphoric acids.
        acids={"phosphoric": 0.4},
        tabulated_nv=33.0,
        dissolves=False,
        release="dicalcium phosphate",
        source=f"{_TABLES}; acts only when hot",
        sureness="B",
        aliases=("DCPD",),
    ),
    Substance(
        name="dimagnesium phosphate",
        formula="MgHPO4·3H2O",
        molar_mass=174.328,
        role="acid",
        # As much phosphoric acid as gives its tabulated value.
        acids={"phosphoric": 0.41},
        tabulated_nv=40.0,
        dissolves=False,
        release="dimagnesium phosphate",
        source="from memory, rough",
        sureness="C",
        aliases=("DMP",),
    ),
    Substance(
        name="calcium acid pyrophosphate",
        formula="CaH2P2O7",
        molar_mass=216.03,
        role="acid",
        acids={"pyrophosphoric": 1.0},
        fixed_charge=2.0,
        fixed_strength=4.0,
        tabulated_nv=67.0,
        dissolves=False,
        release="acid pyrophosphate 28",
        source="from memory, rough",
        sureness="C",
        aliases=("CAPP",),
    ),
    Substance(
        name="salt",
        formula="NaCl",
        molar_mass=58.443,
        role="filler",
        fixed_strength=2.0,
        sodium=1.0,
        grams_per_tsp=6.0,
        aliases=("table salt",),
    ),
    Substance(
        name="starch",
        formula="(C6H10O5)n",
        molar_mass=162.141,
        role="filler",
        grams_per_tsp=2.7,
        sureness="B",
        aliases=("cornstarch", "cornflour"),
    ),
    Substance(
        name="sugar",
        formula="C12H22O11",
        molar_mass=342.297,
        role="filler",
        grams_per_tsp=4.2,
        sureness="B",
    ),
)

SUBSTANCES: Mapping[str, Substance] = MappingProxyType({substance.name: substance for substance in _LIST})
