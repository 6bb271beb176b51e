"""Words on kit: what an item costs and asks for, and what counts as the current kit."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from optimizer.kit.alone import grounds_of
from optimizer.report.words import between, cell_range, clock, listing, money, seconds

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from optimizer.evidence import Effect, Grounds
    from optimizer.kit import Catalogue, Choice, Item, KitSet

__all__ = ["DISAGREE", "LEAST_SAVED", "apart_by_test", "caution_of", "cost_of", "current_kit",
           "faster_words", "free_changes", "free_words", "grounds_in", "kept_words", "marked",
           "not_clear_words", "not_in_sets", "nothing_bought", "rests_on_words", "spent_on_words",
           "still_to_save"]

LEAST_SAVED: Final = 0.05
"""Seconds below which a saving is shown as none."""
DISAGREE: Final = 0.5
"""I² of a pool from which sources are said to disagree."""
_FEW: Final = 3  # things that a sentence names
_UNTESTED: Final[Mapping[Grounds, str]] = {
    "seller": ("pays for what only the seller says: ask for a test, or test it yourself, before "
               "you pay"),
    "mass": "pays for mass only: what else it does, nobody tested"}


def cost_of(item: Item) -> str:
    """Say what an item costs on the day."""
    if item.owned:
        return "owned"
    return f"{money(item.cost)} to hire" if item.hired else money(item.cost)


def marked(item: Item) -> str:
    """Name of an item, and that it is hired where it is."""
    return f"{item.name} (hired)" if item.hired else item.name


def kept_words(catalogue: Catalogue, choice: Choice, most: int | None = None) -> str:
    """Say what kit of an earlier plan is ridden, and what of it the day does not allow.

    More than `most` items are counted, with those that are hired named.
    """
    items = [catalogue[name] for name in choice.best.items]
    spent = f", {money(choice.best.spend, choice.currency)}" if choice.best.spend > 0 else ""
    hired = [item.name for item in items if item.hired]
    few = most is None or len(items) <= most
    named = (listing([marked(item) for item in items]) or "your current kit" if few else
             f"{len(items)} items" + (f", {listing(hired)} hired" if hired else ""))
    if not choice.left_out:
        return f"The kit of the earlier plan{spent}: {named}."
    why = "; ".join(f"{name} ({reason})" for name, reason in choice.left_out)
    instead = [name for name in choice.best.items if name not in (choice.kept or ())]
    in_place = f" Instead: {listing(instead)}." if instead else ""
    return f"The kit of the earlier plan, except {why}.{in_place} In all{spent}: {named}."


def caution_of(item: Item) -> str:
    """Say what needs caution about an item; empty where nothing does."""
    fitter = item.needs_fitter and "mechanic" not in item.caution
    words = ["For a qualified mechanic"] if fitter else []
    words += [item.caution.rstrip(".")] if item.caution else []
    if math.isfinite(item.crosswind_limit):
        words.append(f"Not in cross wind above {3.6 * item.crosswind_limit:.0f} km/h at the rider")
    return ". ".join(words)


def free_changes(catalogue: Catalogue, current: KitSet) -> list[str]:
    """Name the items of the current kit that are not owned but cost nothing."""
    return [name for name in current.items
            if not catalogue[name].owned and catalogue[name].cost == 0]


def current_kit(catalogue: Catalogue, current: KitSet, whose: str = "your") -> str:
    """Say what a gain is measured against."""
    return f"{whose} current kit" + (
        " with free changes" if free_changes(catalogue, current) else "")


def not_in_sets(catalogue: Catalogue, sets: Sequence[Sequence[str]]) -> str:
    """Say which free changes named sets do not count with; empty where they have all."""
    free = [item.name for item in catalogue.items if not item.owned and item.cost == 0]
    within = [sum(name in items for items in sets) for name in free]
    said = [f"Free changes that are {words}: {listing(names)}." for words, names in (
        ("in no set", [name for name, count in zip(free, within, strict=True) if not count]),
        ("not in every set", [name for name, count in zip(free, within, strict=True)
                              if 0 < count < len(sets)])) if names]
    return " ".join(["A named set counts with the items listed for it alone.", *said]
                    ) if said else ""


def faster_words(choice: Choice, chosen: KitSet, current: str) -> str:
    """Say what a kit saves against `current`, and the two times that this comes from."""
    saved = between(choice.owned.finish_time, chosen.finish_time)
    return (f"{seconds(saved)} faster than {current} (ideal rides: {clock(chosen.finish_time)} "
            f"instead of {clock(choice.owned.finish_time)})")


def grounds_in(catalogue: Catalogue, effects: Sequence[Effect]) -> dict[str, Grounds]:
    """Say what the gain of each item rests on."""
    known = {effect.item: effect for effect in effects}
    return {item.name: grounds_of(item, known.get(item.name)) for item in catalogue.items}


def rests_on_words(catalogue: Catalogue, effects: Sequence[Effect], items: Sequence[str],
                   currency: str) -> str:
    """Say which money among the items buys what nobody but its seller, or nobody, has tested.

    Empty where there is none.
    """
    grounds = grounds_in(catalogue, effects)
    return spent_on_words([(marked(catalogue[name]), catalogue[name].cost, grounds[name])
                           for name in items if catalogue[name].cost > 0], currency)


def spent_on_words(paid: Sequence[tuple[str, float, Grounds]], currency: str) -> str:
    """Say the same of things by name, money and what their gain rests on."""
    said = []
    for on, words in _UNTESTED.items():
        here = [(name, cost) for name, cost, grounds in paid if grounds == on]
        if here:
            names = listing(list(dict.fromkeys(name for name, _ in here)))
            spent = money(sum(cost for _, cost in here), currency)
            said.append(f"{spent} of it, for {names}, {words}.")
    return " ".join(said)


def not_clear_words(catalogue: Catalogue, effects: Sequence[Effect], items: Sequence[str],
                    gains: Mapping[str, tuple[float, float]], currency: str, *,
                    why: bool = True) -> str:
    """Say which things to pay for were tested and still are no clear gain, and `why`.

    `gains` are the 90 % ranges [s] of items on their own. Empty where all are clear.
    """
    known = {effect.item: effect for effect in effects}
    unclear = sorted((item for item in map(catalogue.__getitem__, items)
                      if item.cost > 0 and gains.get(item.name, (1.0, 1.0))[0] <= 0.0
                      and grounds_of(item, known.get(item.name)) == "tested"),
                     key=lambda item: -item.cost)
    if not unclear:
        return ""
    said = []
    for item in unclear[:_FEW]:
        told = [money(item.cost, currency)]
        if why:
            disagree = known[item.name].disagreement > DISAGREE
            told += [cell_range(*gains[item.name]), *(["sources disagree"] if disagree else [])]
        said.append(f"{marked(item)} ({', '.join(told)})")
    if rest := unclear[_FEW:]:
        more = money(sum(item.cost for item in rest), currency)
        said.append(f"{len(rest)} {'other' if len(rest) == 1 else 'others'} ({more})")
    return f"No clear gain on {'its' if len(unclear) == 1 else 'their'} own: {listing(said)}."


def apart_by_test(grounds: Mapping[str, Grounds], first: Sequence[str],
                  second: Sequence[str]) -> bool:
    """Whether anything that only one of two kits has was tested by more than its seller."""
    return any(grounds.get(name, "tested") == "tested" for name in {*first} ^ {*second})


def nothing_bought(choice: Choice, chosen: KitSet, current: str) -> str:
    """Say why nothing is bought for the forecast day: no money, or no kit that is worth it."""
    if choice.budget <= 0:
        return f"No money for kit: the plan is for {current}."
    amount = money(choice.budget, choice.currency)
    if choice.least_gain > 0 and still_to_save(choice, chosen) >= LEAST_SAVED:
        return (f"Buy nothing: the fastest kit for {amount} saves "
                f"{seconds(still_to_save(choice, chosen))}, and up to "
                f"{seconds(choice.least_gain)} are given up for a cheaper one.")
    return f"Buy nothing: no kit for {amount} is faster than {current}."


def still_to_save(choice: Choice, chosen: KitSet) -> float:
    """Seconds that the fastest kit for the money saves against the chosen one."""
    return max(chosen.finish_time - choice.fastest.finish_time, 0.0)


def free_words(catalogue: Catalogue, choice: Choice, chosen: KitSet) -> str:
    """Advise the free changes of the chosen kit, and say what those of the current kit save.

    Empty where there are none.
    """
    free = free_changes(catalogue, choice.owned)
    if not free:
        return ""
    advised = free_changes(catalogue, chosen)
    advice = f"Change for free: {listing(advised)}. " if advised else ""
    counted = ("these" if len(free) > 1 else "that") if free == advised else listing(free)
    saved = choice.changes_save
    worth = (f", {seconds(saved)} faster than without" if saved >= LEAST_SAVED else "")
    return f"{advice}The time with your current kit counts with {counted} already{worth}."
