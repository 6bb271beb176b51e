"""Numbers that people type after an option: one type for all of them."""

from __future__ import annotations

from typing import Any

import click

from optimizer.errors import InputError, KitpaceError

__all__ = ["LARGEST_SUM", "Number", "TellingAll", "WholeNumber"]

LARGEST_SUM = 1e9  # of money, in any currency


class Number(click.FloatRange):
    """A plain number within limits, with a decimal point or comma, and with its unit or without.

    NaN and infinity are no numbers. What is wrong names the option, the limits and the unit.
    """

    name = "number"

    def __init__(self, low: float, high: float, unit: str = "", *, above: bool = False) -> None:
        """Set the limits, both allowed; `above` leaves the lower one out."""
        super().__init__(low, high, min_open=above)
        self.low, self.high, self.unit, self.above = low, high, unit, above

    def convert(self, value: Any, param: click.Parameter | None,
                ctx: click.Context | None) -> float:
        """Read the text of an option; raises InputError that names it."""
        del ctx
        from optimizer.scenario.units import parse_quantity

        option = param.opts[0] if param else "number"
        text = str(value).strip()
        try:
            number = parse_quantity(text, self.unit, decimal_comma="," in text)
        except ValueError as error:
            raise InputError(option, "", f'"{text}" {error}', self._right()) from error
        if not self.low <= number <= self.high or (self.above and number == self.low):
            raise InputError(option, "", f"{text} is out of range", self._right())
        return number

    def _right(self) -> str:
        low, high, unit = self._limits()
        if self.above:
            return f"it has to be above {low} and at most {high}{unit}"
        return f"it has to be a {self.name} between {low} and {high}{unit}"

    def _limits(self) -> tuple[str, str, str]:
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.low:.12g}", f"{self.high:.12g}", unit

    def _describe_range(self) -> str:
        """Limits as the help of a command shows them."""
        low, high, unit = self._limits()
        if self.high >= LARGEST_SUM:
            return f"above {low}" if self.above else f"{low} or more"
        return f"{low} to {high}{unit}"


class WholeNumber(Number):
    """A whole number within limits, both allowed."""

    name = "whole number"

    def convert(self, value: Any, param: click.Parameter | None,
                ctx: click.Context | None) -> int:
        """Read the text of an option; raises InputError that names it."""
        number = super().convert(value, param, ctx)
        if number != int(number):
            raise InputError(param.opts[0] if param else "number", "",
                             f"{value} is not a whole number", self._right())
        return int(number)


class _Several(KitpaceError):  # noqa: N818 - several mistakes in one line that was typed
    exit_code = 2


class TellingAll(click.Command):
    """A command that tells the mistakes in all its options at once."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read what was typed; where an option is wrong, look at each of the others as well."""
        typed = list(args)  # the parser takes its list apart
        try:
            return super().parse_args(ctx, args)
        except (InputError, click.BadParameter):
            told = []
            values = self.make_parser(ctx).parse_args(typed)[0]
            for param in self.get_params(ctx):
                try:
                    param.handle_parse_result(ctx, values, [])
                except InputError as error:
                    told.append(str(error))
                except click.BadParameter as error:
                    told.append(error.format_message())
            if len(told) < 2:
                raise
            raise _Several(f"{len(told)} mistakes\n" + "\n".join(told)) from None
