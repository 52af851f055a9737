"""What in a bake may somebody not be able to eat?

The fourteen groups are those of Annex II of Regulation (EU) No 1169/2011 (from memory; other countries list
others, and the label of the packet knows more than a name). Which word of an ingredient points to which group is
common practice, no source. The list that comes out is a beginning for whoever sets a tasting up, never the last word.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

CAUTION = (
    "Made from the names of the ingredients, so look at the packets: starch in baking powder, traces, and what your "
    "own country's rules list. Where those say more, they count."
)

GROUPS = (
    "cereals with gluten",
    "crustaceans",
    "eggs",
    "fish",
    "peanuts",
    "soya",
    "milk",
    "nuts",
    "celery",
    "mustard",
    "sesame",
    "sulphites",
    "lupin",
    "molluscs",
)

# Phrases are taken out of a name one after the other, so that "peanut butter" is no milk; "" points nowhere.
_WORDS: tuple[tuple[str, str], ...] = (
    ("", "cream of tartar"),
    ("", "tartar"),
    ("", "cocoa butter|shea butter|apple butter|coconut butter|coconut milk|coconut cream|oyster mushrooms?"),
    ("", "(rice|corn|maize|potato|tapioca|cassava|buckwheat|coconut|chickpea|millet|teff|sorghum) (flour|starch|meal)"),
    ("", "gluten[ -]free|nutmeg|eggplant|coconuts?|butternut|water chestnuts?|doughnuts?|pine ?nuts?|chestnuts?"),
    ("peanuts", "peanut butter|peanuts?|groundnuts?|arachis"),
    ("nuts", "(almond|hazelnut|cashew|walnut|pecan|pistachio|nut) (milk|butter|flour|meal|cream)"),
    ("nuts", "almonds?|hazelnuts?|walnuts?|cashews?|pecans?|brazil nuts?|pistachios?|macadamias?|marzipan|praline"),
    ("nuts", "tree nuts?|nuts?|nougat"),
    ("soya", "(soya?|soybean) (milk|flour|drink|cream|lecithin)|soybeans?|soya?|tofu|edamame|lecithin"),
    ("cereals with gluten", "(oat|spelt|rye|wheat|barley) (milk|drink|flour|meal|bran|starch)"),
    ("lupin", "lupine? flour|lupines?|lupins?"),
    ("eggs", "egg ?whites?|egg ?yolks?|eggs?|albumen|meringue|mayonnaise"),
    ("milk", "buttermilk|milk|butter|ghee|cream|creme fraiche|yogh?urts?|kefir|quark|skyr|whey|casein|lactose"),
    ("milk", "cheese|ricotta|mascarpone|curd|ayran|custard|dairy"),
    ("sesame", "sesame|tahini?|halva"),
    ("mustard", "mustard"),
    ("celery", "celery|celeriac"),
    ("fish", "fish|anchov(?:y|ies)|tuna|salmon|cod"),
    ("crustaceans", "crustaceans?|shellfish|shrimps?|prawns?|crabs?|lobsters?|crayfish"),
    ("molluscs", "molluscs?|mollusks?|mussels?|clams?|oysters?|squids?|snails?"),
    ("sulphites", "sulphites?|sulfites?|sulphur dioxide|sulfur dioxide|metabisulphite|metabisulfite"),
    (
        "cereals with gluten",
        "gluten|coeliac|celiac|seitan|wheat|spelt|rye|barley|malt|oats?|oatmeal|kamut|einkorn|emmer|semolina",
    ),
    ("cereals with gluten", "durum|couscous|bulgur|graham|bran|farina|breadcrumbs?|crumbs?|flours?"),
)
_FOUND = tuple((group, re.compile(rf"\b(?:{words})\b")) for group, words in _WORDS)


def allergens_in(names: Iterable[str]) -> tuple[str, ...]:
    """The groups that some name points to, in the order of the regulation."""
    found: set[str] = set()
    for name in names:
        rest = " ".join(name.casefold().replace("_", " ").split())
        for group, pattern in _FOUND:
            rest, times = pattern.subn("·", rest)
            if times and group:
                found.add(group)
    return tuple(group for group in GROUPS if group in found)


def clashes(noted: str, served: str) -> tuple[str, ...]:
    """What somebody is noted not to eat that is in what is served; both in plain words, "" is nothing."""
    both = set(_groups_of(noted)) & set(_groups_of(served))
    words = {word for word in re.findall(r"[^\W\d_]{4,}", noted.casefold()) if word not in _IDLE}
    told = set(re.findall(r"[^\W\d_]{4,}", served.casefold()))
    return tuple(group for group in GROUPS if group in both) or tuple(sorted(words & told - {"cereals"}))


_IDLE = frozenset(
    {"with", "without", "allergy", "allergic", "intolerant", "intolerance", "none", "free", "also", "from"}
)


def _groups_of(text: str) -> tuple[str, ...]:
    return allergens_in(re.split(r"[,;/\n]", text))
