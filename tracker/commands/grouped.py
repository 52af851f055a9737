"""How are many options shown so that one is found? Under headings, in plain text."""

from __future__ import annotations

from typing import Any

from typer.core import TyperCommand

OWN = "Options"  # heading of what the command asks by itself

HEADINGS = {
    "What to ask": ("kind", "dose", "by", "model", "shape", "order", "interaction", "follow"),
    "What bakes share": ("group", "whole_plot", "slope", "small_sample"),
    "What else to allow for": ("covariate", "weights", "transform", "robust", "unequal_spread"),
    "What to compare": ("contrast", "reference", "adjust", "margin"),
    "Goals": ("goal", "accept", "importance"),
    "Curves and scores": ("effective", "intervals", "link"),
    "How it is computed": ("confidence", "squares", "seed"),
}


class GroupedCommand(TyperCommand):
    """A command whose help puts its options under ``HEADINGS``; the command's own come first."""

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """The arguments, the command's own options, then each heading with its options."""
        heading_of = {name: heading for heading, names in HEADINGS.items() for name in names}
        sections: dict[str, list[tuple[str, str]]] = {"Arguments": [], OWN: [], **{heading: [] for heading in HEADINGS}}
        for each in self.get_params(ctx):
            record = each.get_help_record(ctx)
            if record is not None:
                argument = each.param_type_name == "argument"
                sections["Arguments" if argument else heading_of.get(str(each.name), OWN)].append(record)
        for heading, records in sections.items():
            if records:
                with formatter.section(heading):
                    formatter.write_dl(records)
