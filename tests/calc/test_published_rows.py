"""Every published value is held against the code, or listed with the reason why not."""

from fnmatch import fnmatchcase

from tests.calc import published


def _ids_read() -> set[str]:
    return set().union(*published.read_by_tests().values())


def _ids_promised() -> set[str]:
    patterns = [
        pattern
        for module, patterns in published.PROMISED.items()
        if not (published.TESTS.parent / module).exists()
        for pattern in patterns
    ]
    return {id_ for id_ in published.all_rows() if any(fnmatchcase(id_, p) for p in patterns)}


def test_every_published_row_is_read_by_a_test_or_listed_as_unused() -> None:
    left = set(published.all_rows()) - _ids_read() - set(published.unused()) - _ids_promised()
    assert not left, f"read by no test and not in unused.csv: {sorted(left)}"


def test_no_row_is_both_read_and_listed_as_unused() -> None:
    assert not _ids_read() & set(published.unused())


def test_every_unused_row_exists_and_has_a_reason() -> None:
    for id_, reason in published.unused().items():
        assert id_ in published.all_rows(), id_
        assert len(reason) > 10, id_


def test_every_row_has_a_source_and_says_how_it_is_known() -> None:
    for row in published.all_rows().values():
        assert row.source, row.id
        assert row.how_known, row.id
        kind, _, size = row.tolerance.partition(" ")
        assert kind == "exact" or (kind in ("rel", "abs") and float(size) > 0), row.id


def test_every_pattern_that_a_module_names_matches_a_row() -> None:
    for module in published.read_by_tests():
        for pattern in published.named_in(published.TESTS.parent / module):
            assert any(fnmatchcase(id_, pattern) for id_ in published.all_rows()), (
                f"{module} names {pattern}, which is no row"
            )
