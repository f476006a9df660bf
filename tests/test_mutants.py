"""The small mistakes that `python3 dev.py mutants` makes: each changes one thing, and nothing that is only text."""

from __future__ import annotations

import ast

import pytest

from tools.mutants import codes_in
from tools.mutations import mutations

TEXT = '''
"""A module's words: 1 + 1 < 3."""
from math import inf
MOST: int = 4

def f(a: int = 1, *, sure=True):
    """Words: a < b."""
    if a < MOST and sure:
        raise ValueError(f"{a + 1} is too small")
    total = max(a * 2.0, -a)
    return total
'''
WANTED = {
    (4, "4 to 5"),
    (6, "1 to 2"),
    (6, "True to False"),
    (8, "deleted: if a < MOST and sure: raise ValueError(f'{a + 1} is too small')"),
    (8, "condition negated: a < MOST and sure"),
    (8, "a < MOST and sure: And to Or"),
    (8, "a < MOST: Lt to LtE"),
    (8, "a < MOST: Lt to GtE"),
    (9, "deleted: raise ValueError(f'{a + 1} is too small')"),
    (10, "max to min"),
    (10, "a * 2.0: Mult to Div"),
    (10, "2.0 to 4.0"),
    (10, "-a: USub dropped"),
    (11, "returns None, not total"),
}


def test_each_kind_of_mistake_is_made_and_words_are_left_alone() -> None:
    found = mutations(ast.parse(TEXT))
    assert {(each.line, each.what) for each in found} == WANTED
    assert len(found) == len(WANTED)
    assert {each.line for each in found if not each.function} == {4, 6}  # what runs while the module loads
    assert {each.function for each in found if each.line > 6} == {6}


@pytest.mark.parametrize("number", range(len(WANTED)))
def test_a_mistake_changes_the_tree_once_and_still_compiles(number: int) -> None:
    sound, tree = ast.parse(TEXT), ast.parse(TEXT)
    mutations(tree)[number].act()
    assert ast.dump(tree) != ast.dump(sound)
    code = compile(ast.fix_missing_locations(tree), "text", "exec")
    assert [each.co_name for each in codes_in(code)] == ["f"]
    again = ast.parse(TEXT)
    mutations(again)[number].act()
    assert ast.dump(again) == ast.dump(tree)  # a number names one mistake
