"""What does the word mean?

One line per term, in the sense of ISO 3534-3 where it has the term. The report
prints the lines of the terms it uses.
"""

from __future__ import annotations

GLOSSARY: dict[str, str] = {
    "acid-base balance": "What the acid uses up of the soda, and what of either is left over. Soda left over tastes "
    "soapy, acid left over tastes sour.",
    "alias": "Two effects that this design cannot tell apart, because they rose and fell together in every bake.",
    "block": "A group of bakes made alike (one day, one oven load), so that a difference between groups is not taken "
    "for an effect.",
    "bake": "One mixing and baking from scratch. It is what is counted, not the slices or readings taken from it.",
    "category": "A factor whose levels are kinds, such as the acid source.",
    "amount": "A factor whose levels are numbers, such as grams of soda.",
    "curvature": "How far the middle of the range lies from a straight line between its ends.",
    "difference that matters": "The smallest change in a response that is worth acting on, said before baking.",
    "effect": "How much the response changes when a factor goes from one level to another, the rest averaged out.",
    "effective dose": "The dose that takes the response a given part of the way from where it starts to where it ends.",
    "error degrees of freedom": "How many independent looks the trial gives at the scatter between like bakes. Few "
    "give wide intervals.",
    "estimated mean": "The mean a level would have if every other setting had been baked equally often.",
    "factor": "A variable that was changed on purpose.",
    "interaction": "The effect of one factor depends on the level of another.",
    "interval": "The range of values that the data agree with. Of 100 intervals of 95 %, each from a trial of its own, "
    "some 95 hold the true value; of 90 %, some 90.",
    "lack of fit": "Scatter around the curve that is larger than the scatter between replicate bakes: the "
    "shape is wrong.",
    "level": "A value at which a factor was set.",
    "neutralising value": "How many grams of baking soda 100 g of an acid use up.",
    "optimum": "The dose inside the baked range at which the fitted curve is best.",
    "p": "How often a trial would show a difference at least this large if the factor did nothing and the model holds. "
    "It measures neither the size of that difference nor how sure one may be of it.",
    "pH": "How sour or alkaline the water in the crumb is: below 7 sour, above 7 alkaline. One step is ten times.",
    "plateau": "The height at which a curve levels off: more changes nothing.",
    "pseudo standard error": "An estimate of the error from the small effects themselves, for trials without "
    "replicates (Lenth 1989).",
    "recommended amount": "The smallest dose whose response lies within the difference that matters of the best.",
    "repeat": "The same bake read again. It says how well you read, not how well you bake.",
    "replicate": "The same treatment mixed and baked again from scratch. Only replicates show the scatter that effects "
    "are judged against.",
    "residual": "What is left of a bake's value when the fitted value is taken away.",
    "response": "What was measured or scored.",
    "run": "One treatment of the plan, to be mixed and baked afresh.",
    "saturated": "A model with as many terms as bakes: it leaves nothing to judge the effects against.",
    "sum of squares": "The part of the scatter that a term takes up. Type 2 adjusts each term for all others that do "
    "not contain it.",
    "treatment": "One combination of levels.",
}


def explain(term: str) -> str | None:
    """The line for a term, or None when the glossary does not have it."""
    wanted = term.strip().casefold()
    return next((line for name, line in GLOSSARY.items() if name.casefold() == wanted), None)
