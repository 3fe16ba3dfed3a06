"""Pages of text: width, plain signs, nothing cut."""

from hypothesis import given
from hypothesis import strategies as st

from cyclesim.said.page import Column, Page, words
from cyclesim.shown.terminal import printed

# "…" is left out: it is the sign of something cut, which the test looks for
SIGNS = st.characters(categories=("Ll", "Lu", "Nd", "Po"), exclude_characters="…")
WORDS = st.text(SIGNS, min_size=1, max_size=60)


@given(st.lists(st.tuples(WORDS, st.floats(0, 9e6).map("{:.1f}".format)), min_size=1, max_size=5))
def test_table_is_never_wider_than_80_columns_and_cuts_nothing(rows: list[tuple[str, str]]) -> None:
    """Long names are folded over lines; every sign of every cell is still there."""
    page = Page()
    page.table([words("what"), Column("a\nh"), words("why")], [(*r, r[0]) for r in rows])
    text = printed(page)
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "…" not in text
    kept = sum(text.count(sign) for sign in set("".join(name for name, _ in rows)) - set(" whaty0123456789."))
    due = sum(2 * name.count(sign) for name, _ in rows for sign in set(name) - set(" whaty0123456789."))
    assert due == kept


def test_no_word_of_a_table_is_broken_where_all_can_fit() -> None:
    """Headings over numbers fold for a name; of two columns of words the longer one gives way."""
    page = Page()
    numbers = [Column(f"most starts\nin an hour {k}") for k in range(5)]
    page.table([words("pump"), *numbers], [("circulator_of_the_spa", *range(5))])
    page.table(
        [words("pump"), Column("price"), words("why")],
        [("circulator_of_the_very_large_round_spa_tub", "2027", "so it was said by all " * 9)],
    )
    text = printed(page)
    assert max(map(len, text.splitlines())) <= 80
    assert {"circulator_of_the_spa", "circulator_of_the_very_large_round_spa_tub"} <= set(text.split())
    assert text.split().count("said") == 9


def test_line_hangs_and_wraps_between_words() -> None:
    """Later lines of a paragraph stand further in, and no word is broken."""
    page = Page()
    page.line("- " + "sediment " * 20, hang=2)
    first, second, *_ = printed(page).splitlines()
    assert first.startswith("- sediment")
    assert second.startswith("  sediment")
    assert set(printed(page).split()) == {"-", "sediment"}


def test_brackets_of_a_file_are_not_markup() -> None:
    """A title in square brackets is printed as written."""
    page = Page()
    page.line("[red]tub[/red]")
    page.table([words("[b]")], [("[i]x[/i]",)])
    assert "[red]tub[/red]" in printed(page)
    assert "[i]x[/i]" in printed(page)


def test_colour_only_when_asked() -> None:
    """Without a terminal no escape sequence is written."""
    page = Page()
    page.line("tub", tone="danger")
    assert "\x1b[" not in printed(page)
    assert "\x1b[" in printed(page, colour=True)


def test_so_many_figures_are_never_a_power_of_ten() -> None:
    """Two figures of 212 are 210, as a person would write them."""
    page = Page()
    column = Column("x", kind="figures", digits=2)
    page.table([words("what"), column], [("a", 212.0), ("b", 2.44), ("c", 50_812.0)])
    text = printed(page)
    assert all(shown in text for shown in ("210", "2.4", "51,000"))
    assert "e+" not in text
