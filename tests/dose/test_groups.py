"""The starting ranges of the trade, and that no figure stands without its source."""

from server.dose import groups


def test_soft_and_large_polyp_corals_start_at_75_to_150() -> None:
    # common practice, no published source
    for group in (groups.SOFT, groups.LARGE_POLYP):
        assert (group.low_ppfd, group.high_ppfd) == (75, 150)
        assert group.start_basis == "common practice, no published source"


def test_small_polyp_corals_start_at_200_to_350() -> None:
    # common practice, no published source
    assert (groups.SMALL_POLYP.low_ppfd, groups.SMALL_POLYP.high_ppfd) == (200, 350)
    assert groups.SMALL_POLYP.start_basis == "common practice, no published source"


def test_every_group_has_a_rising_range_a_basis_and_its_own_key() -> None:
    assert len({group.key for group in groups.GROUPS}) == len(groups.GROUPS)
    for group in groups.GROUPS:
        assert 0 < group.low_ppfd < group.high_ppfd
        assert group.start_basis.strip()


def test_every_published_figure_names_animal_condition_and_source() -> None:
    figures = [figure for group in groups.GROUPS for figure in group.published]
    assert figures
    for figure in figures:
        assert 0 <= figure.low_ppfd <= figure.high_ppfd
        assert figure.animal and figure.condition and any(c.isdigit() for c in figure.source)


def test_groups_without_published_saturation_say_so() -> None:
    for group in groups.GROUPS:
        if not group.published:
            assert groups.NONE_PUBLISHED in group.note


def test_the_reef_colonies_are_tied_to_the_curve_they_were_fitted_with() -> None:
    for figure in groups.SMALL_POLYP.figures("saturation"):
        assert figure.curve == "smith"
