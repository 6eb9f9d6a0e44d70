"""Drafts change minutes and nothing else, price nothing, and hold from their day."""

import csv
import io
import shutil
from contextlib import contextmanager
from datetime import timedelta
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shop import DAY, Shop, now
from sqlalchemy import select

from quoting.domain.errors import ProblemsError
from quoting.domain.pricing import price
from quoting.files import job_document
from quoting.resources import folder
from quoting.store import audit
from quoting.store.database import Database
from quoting.store.models import PartPrice, RateEdition, Trail
from quoting.workflow import drafts, part_prices, quotes, rates
from quoting.workflow.customers import NoSuchRecordError
from quoting.workflow.drafts import NewTimes

FOUR = "16v twin cam overheated"
PLANT = "plant diesel four valve job"
WHY = "what 400 past jobs say"


def drafted(shop, *times, days=0):
    """Keep a draft; return its key."""
    with shop.database.transaction() as session:
        return drafts.draft(session, times, now(days=days), why=WHY).id


def in_force(shop, days=0):
    with shop.database.reading() as session:
        return rates.in_force(session, DAY + timedelta(days=days))


def edition_of(shop, key):
    with shop.database.reading() as session:
        return rates.edition_of(session, key, DAY)


def effect(shop, key):
    with shop.database.reading() as session:
        return drafts.effect(session, drafts.made(session, key), DAY)


def files_of(shop, key):
    with shop.database.reading() as session:
        return rates.files_of(session.get_one(RateEdition, key))


def put_in_force(shop, key, days=0, at=0):
    with shop.database.transaction() as session:
        row = drafts.made(session, key)
        day = DAY + timedelta(days=days)
        drafts.put_in_force(session, row, day, now(days=at))


def throw_away(shop, key):
    with shop.database.transaction() as session:
        drafts.throw_away(session, drafts.made(session, key), now())


def brought_in(shop, tmp_path, *changes):
    """Bring in the invented shop's edition with texts of its files replaced."""
    copy = tmp_path / "another"
    shutil.copytree(folder("rates_demo"), copy)
    for name, old, new in changes:
        text = (copy / name).read_text("utf-8")
        assert text.count(old) == 1
        (copy / name).write_text(text.replace(old, new), "utf-8")
    with shop.database.transaction() as session:
        return rates.bring_in(session, copy, at=now().at, who="Ada")


def rows(content):
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"))))


def test_only_the_minutes_and_the_name_of_a_draft_differ_from_what_it_was_made_of(shop):
    old = files_of(shop, in_force(shop).id)
    listed = {row["code"]: row for row in rows(old["operations.csv"])}
    assert (listed["LEAK"]["setup_minutes"], listed["LEAK"]["unit_minutes"]) == (
        "22",
        "22",
    )

    key = drafted(shop, NewTimes("LEAK", Decimal(33), Decimal("11.0004")))

    new = files_of(shop, key)
    assert list(new) == list(old)
    changed = [name for name in old if new[name] != old[name]]
    assert changed == ["class_prices.csv", "operations.csv", "shop.toml"]
    assert new["operations.csv"] == old["operations.csv"].replace(
        b",22,22,20,LAB", b",33,11,20,LAB"
    )
    # Half as much again to set up, half for a unit: 16 and 14 become 24 and 7, ...
    for before, after in (
        (b"LEAK,single,20.00,18.00,,,,16,14", b"LEAK,single,20.00,18.00,,,,24,7"),
        (b"LEAK,small,24.00,24.00,,,,19,19", b"LEAK,small,24.00,24.00,,,,28.5,9.5"),
        (b"LEAK,large,38.00,38.00,,,,28,30", b"LEAK,large,38.00,38.00,,,,42,15"),
        (b"LEAK,plant,58.00,58.00,,,,42,46", b"LEAK,plant,58.00,58.00,,,,63,23"),
    ):
        assert before in old["class_prices.csv"]
        old["class_prices.csv"] = old["class_prices.csv"].replace(before, after)
    assert new["class_prices.csv"] == old["class_prices.csv"]
    assert new["shop.toml"] == old["shop.toml"].replace(
        b'edition = "2026 autumn"', b'edition = "2026 autumn, times of 2026-11-25"'
    ).replace(b"valid_from = 2026-11-01", b"valid_from = 2026-11-25")


def test_minutes_left_open_stay_and_finer_ones_are_rounded(shop):
    key = drafted(shop, NewTimes("SCUT", unit=Decimal("4.12345")))

    operation = edition_of(shop, key).operations["SCUT"]
    assert operation.setup_minutes == shop.edition.operations["SCUT"].setup_minutes
    assert operation.unit_minutes == Decimal("4.123")


def test_a_size_class_keeps_its_minutes_where_the_operation_had_none(shop, tmp_path):
    brought_in(shop, tmp_path, ("operations.csv", ",22,22,20,LAB", ",,22,20,LAB"))

    new = edition_of(shop, drafted(shop, NewTimes("LEAK", setup=Decimal(2))))

    assert new.operations["LEAK"].setup_minutes == 2
    assert new.class_prices["LEAK", "plant"].setup_minutes == 42


def test_a_draft_prices_nothing_until_it_is_put_in_force_and_then_from_its_day(shop):
    before = in_force(shop).id
    key = drafted(shop, NewTimes("LEAK", Decimal(30)))
    assert [in_force(shop, days).id for days in (0, 1, 30)] == [before] * 3

    put_in_force(shop, key, days=5)

    assert [in_force(shop, days).id for days in (0, 4, 5, 30)] == [
        before, before, key, key,
    ]  # fmt: skip
    edition = in_force(shop, 5).edition
    assert edition.operations["LEAK"].setup_minutes == 30
    assert edition.shop.valid_from == DAY + timedelta(days=5)


def test_a_quote_keeps_the_edition_that_it_was_made_with(shop):
    quote = shop.save(FOUR)
    put_in_force(shop, drafted(shop, NewTimes("LEAK", Decimal(30))))

    with shop.database.reading() as session:
        [kept] = quotes.quote_of(session, quote).revisions
        edition = quotes.edition_of(session, kept)
    assert edition.operations["LEAK"].setup_minutes == 22


def test_part_prices_entered_before_hold_in_a_draft_that_is_put_in_force(shop):
    with shop.database.transaction() as session:
        new = part_prices.NewPrice("SEAL-9", DAY, price=Decimal("1.50"))
        part_prices.enter(session, new, now())

    put_in_force(shop, drafted(shop, NewTimes("LEAK", Decimal(30))))

    assert in_force(shop).edition.parts["SEAL-9"].price == Decimal("1.50")
    with shop.database.reading() as session:
        assert len(session.scalars(select(PartPrice)).all()) == 1


@pytest.mark.parametrize(
    ("times", "refusal", "said"),
    [
        ([("NONE", 1)], NoSuchRecordError, "no operation NONE"),
        ([("LEAK", -1)], drafts.AbsurdMinutesError, "-1 minutes are not between"),
        ([("LEAK", 10_001)], drafts.AbsurdMinutesError, "between 0 and 10000"),
        ([("LEAK", "NaN")], drafts.AbsurdMinutesError, "NaN minutes"),
        ([("LEAK", 5), ("LEAK", 6)], drafts.NamedTwiceError, "Pressure test has new"),
        ([("LEAK", 22)], drafts.NothingChangedError, "of 2026 autumn already"),
        ([("LEAK", "22.0004")], drafts.NothingChangedError, "nothing to draft"),
        ([], drafts.NothingChangedError, "nothing to draft"),
    ],
)
def test_times_that_make_no_draft_are_refused_and_nothing_is_kept(
    shop, times, refusal, said
):
    with pytest.raises(refusal, match=said):
        drafted(shop, *(NewTimes(code, Decimal(setup)) for code, setup in times))

    with shop.database.reading() as session:
        assert [row.draft for row in drafts.every(session)] == [False]


def test_two_drafts_of_a_day_have_names_of_their_own(shop):
    keys = [drafted(shop, NewTimes("LEAK", Decimal(30))) for _ in range(2)]
    put_in_force(shop, keys[0])
    keys.append(drafted(shop, NewTimes("LEAK", Decimal(22)), days=1))

    with shop.database.reading() as session:
        names = [session.get_one(RateEdition, key).name for key in keys]
    assert names == [
        "2026 autumn, times of 2026-11-25",
        "2026 autumn, times of 2026-11-25 (2)",
        "2026 autumn, times of 2026-11-26",
    ]


def test_a_draft_holds_from_no_day_that_is_past(shop):
    key = drafted(shop, NewTimes("LEAK", Decimal(30)))

    with pytest.raises(drafts.PastDayError, match="before 2026-11-27"):
        put_in_force(shop, key, days=1, at=2)


def test_a_draft_takes_back_no_edition_that_came_after_it_was_made(shop, tmp_path):
    key = drafted(shop, NewTimes("LEAK", Decimal(30)))
    winter = brought_in(
        shop, tmp_path,
        ("shop.toml", "2026 autumn", "2026 winter"),
        ("shop.toml", "2026-11-01", "2026-12-01"),
    )  # fmt: skip

    with pytest.raises(
        drafts.OvertakenError,
        match="On 2026-12-01 2026 winter is in force, and this draft was made of "
        "2026 autumn",
    ):
        put_in_force(shop, key, days=6)
    put_in_force(shop, key, days=2)

    assert [in_force(shop, days).id for days in (5, 6)] == [key, winter]


def test_what_holds_is_neither_put_in_force_again_nor_thrown_away(shop):
    key = drafted(shop, NewTimes("LEAK", Decimal(30)))
    put_in_force(shop, key)

    for step in (put_in_force, throw_away):
        with pytest.raises(drafts.NoDraftError, match="is no draft any more"):
            step(shop, key)
    assert in_force(shop).id == key


def test_an_edition_that_was_brought_in_is_no_draft(shop):
    with pytest.raises(NoSuchRecordError):
        throw_away(shop, in_force(shop).id)


def test_the_trail_tells_of_a_draft_why_it_was_made_and_what_became_of_it(shop):
    key = drafted(shop, NewTimes("LEAK", Decimal(30)))
    put_in_force(shop, key, days=3)
    with shop.database.reading() as session:
        made, held = audit.story(session, "edition", key)
    assert (made.what, made.why, made.old) == ("edition drafted", WHY, "2026 autumn")
    assert held.what == "draft put in force"
    assert held.new == "2026 autumn, times of 2026-11-25, in force from 2026-11-28"

    other = drafted(shop, NewTimes("LEAK", Decimal(31)))
    throw_away(shop, other)

    with shop.database.reading() as session:
        last = session.scalars(select(Trail).order_by(Trail.id.desc())).first()
        assert session.get(RateEdition, other) is None
    assert (last.what, last.old) == (
        "draft thrown away",
        "2026 autumn, times of 2026-11-25 (2)",
    )


def test_an_edition_whose_name_stands_on_several_lines_is_named(shop, tmp_path):
    brought_in(shop, tmp_path, ("shop.toml", '"2026 autumn"', '"""2026\nautumn"""'))

    with pytest.raises(ProblemsError, match=r"shop\.toml, column edition: write the"):
        drafted(shop, NewTimes("LEAK", Decimal(30)))

    with shop.database.reading() as session:
        assert not any(row.draft for row in drafts.every(session))


# What it changes.


def test_an_operation_by_count_keeps_its_price_and_changes_what_is_left(shop):
    shop.save(FOUR)

    [leak] = effect(shop, drafted(shop, NewTimes("LEAK", Decimal(40)))).operations

    # One head: 27.00 + 28.00. 22 + 22 minutes become 40 + 22, at 37.00 an hour:
    # 44 x 37 / 60 = 27.13 and 62 x 37 / 60 = 38.23.
    assert (leak.operation.code, leak.timed, leak.quantity) == ("LEAK", False, 1)
    assert (leak.setup, leak.unit) == ((22, 40), (22, 22))
    assert leak.before == (44, Decimal("27.13"), 55)
    assert leak.after == (62, Decimal("38.23"), 55)
    assert leak.before.margin - leak.after.margin == Decimal("11.10")


def test_an_operation_by_time_changes_its_price(shop):
    shop.save("16v twin cam 3 broken studs")

    made = effect(shop, drafted(shop, NewTimes("STUD", Decimal(18), Decimal(30))))

    # Three studs: 8 + 3 x 28 minutes become 18 + 3 x 30, sold at 78.00 an hour, which
    # costs 40.00: 92 x 78 / 60 = 119.60, 108 x 78 / 60 = 140.40.
    [stud] = made.operations
    assert (stud.timed, stud.quantity) == (True, 3)
    assert stud.before == (92, Decimal("61.33"), Decimal("119.60"))
    assert stud.after == (108, Decimal("72.00"), Decimal("140.40"))
    [quote] = made.quotes
    assert quote.after.minutes - quote.before.minutes == 16
    # Sundries follow the labour, so the price moves by no less.
    assert quote.after.price - quote.before.price >= Decimal("20.80")
    assert quote.after.cost - quote.before.cost == Decimal("10.67")


def test_the_quotes_that_move_furthest_come_first_and_the_sums_are_of_all(shop):
    shop.save("16v twin cam 1 broken stud")
    shop.save("16v skim")
    shop.save("16v twin cam 3 broken studs")

    made = effect(shop, drafted(shop, NewTimes("STUD", Decimal(8), Decimal(30))))

    assert [quote.number for quote in made.quotes] == ["Q-00003", "Q-00001"]
    assert (made.alike, made.left_out) == (1, 0)
    assert made.after.minutes - made.before.minutes == 2 + 3 * 2
    for part in ("minutes", "cost", "price"):
        moved = sum(
            getattr(quote.after, part) - getattr(quote.before, part)
            for quote in made.quotes
        )
        assert getattr(made.after, part) - getattr(made.before, part) == moved


def test_the_latest_revision_of_each_of_the_last_quotes_counts(shop, monkeypatch):
    monkeypatch.setattr(drafts, "LAST_QUOTES", 2)
    shop.save("16v twin cam 1 broken stud")
    shop.save("16v twin cam 2 broken studs", "16v twin cam 9 broken studs")
    key = shop.save("16v twin cam 5 broken studs")
    with shop.database.transaction() as session:
        row = quotes.quote_of(session, key)
        asked = [quotes.Asked("", shop.job("16v twin cam 3 broken studs"))]
        quotes.revise(session, row, row.version, quotes.about(row), asked, now())

    made = effect(shop, drafted(shop, NewTimes("STUD", unit=Decimal(29))))

    assert made.after.minutes - made.before.minutes == 3 + 2


def test_without_a_quote_a_single_unit_shows_the_change(shop):
    made = effect(shop, drafted(shop, NewTimes("STUD", unit=Decimal(30))))

    [stud] = made.operations
    assert (stud.quantity, stud.before.minutes, stud.after.minutes) == (1, 36, 38)
    assert (made.quotes, made.alike, made.before.price) == ((), 0, 0)


# Laws.

WORDS = (
    FOUR,
    PLANT,
    "v6 24v x2 overheated",
    "16v twin cam 3 broken studs",
    "8v single cam skim",
)


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    """Return a shop that laws may draft in."""
    database = Database(f"sqlite:///{tmp_path_factory.mktemp('laws') / 'shop.db'}")
    database.upgrade()
    yield Shop(database)
    database.close()


@contextmanager
def trying(shop, times):
    """Give a draft's edition, and take the draft away again."""
    key = drafted(shop, *times)
    yield edition_of(shop, key)
    throw_away(shop, key)


def priced_by_both(shop, words, edition):
    kept = job_document.write(shop.job(words))
    return [
        price(tables, job_document.read(kept, tables), DAY)
        for tables in (shop.edition, edition)
    ]


LAWS = settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
MINUTES = st.decimals(0, 300, places=3)


@LAWS
@given(words=st.sampled_from(WORDS), data=st.data(), setup=MINUTES, unit=MINUTES)
def test_other_times_of_work_that_a_job_has_not_leave_all_of_its_price(
    records, words, data, setup, unit
):
    lines = price(records.edition, records.job(words), DAY).lines
    codes = {line.code for line in lines}
    others = sorted(set(records.edition.operations) - codes)
    code = data.draw(st.sampled_from(others))
    old = records.edition.operations[code]
    if (old.setup_minutes, old.unit_minutes) == (setup, unit):
        setup += 1
    with trying(records, [NewTimes(code, setup, unit)]) as edition:
        before, after = priced_by_both(records, words, edition)

    told = [
        [
            (line.code, line.quantity, line.net, line.minutes, line.cost)
            for line in lines
        ]
        for lines in (before.lines, after.lines)
    ]
    assert told[0] == told[1]
    assert after.totals == before.totals


@LAWS
@given(words=st.sampled_from(WORDS), data=st.data())
def test_twice_the_minutes_of_an_operation_are_twice_the_minutes_of_its_lines(
    records, words, data
):
    lines = price(records.edition, records.job(words), DAY).lines
    code = data.draw(st.sampled_from(sorted({ln.code for ln in lines if ln.minutes})))
    old = records.edition.operations[code]
    new = NewTimes(code, old.setup_minutes * 2, old.unit_minutes * 2)
    with trying(records, [new]) as edition:
        before, after = priced_by_both(records, words, edition)

    for line, again in zip(before.lines, after.lines, strict=True):
        assert again.minutes == line.minutes * (2 if line.code == code else 1)
        if line.kind == "labour" and not (line.code == code and line.timed):
            assert again.net == line.net
