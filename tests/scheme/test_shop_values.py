"""The shop's own values: used for what a scheme does not state, said so, and never read where there are none."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from layerpreview.errors import SchemeError
from layerpreview.finish.layers import dyes_in
from layerpreview.job.products import details_of
from layerpreview.scheme import DyeCoat, describe, load_scheme, scheme_from_text
from layerpreview.scheme.fields import FILM_WORDS_UM, film_word
from layerpreview.scheme.shop_values import ShopValues, load_shop_values
from layerpreview.told import Basis
from layerpreview.units import Range

from ..schemes import DYES, HEAD, MIXES, PANEL, SILVER

SHOP = """\
layerpreview_shop = 1
[film.medium]
um = [30, 36, 43]
n = 7
jobs = 2
[film.wet]
um = [52, 60.5, 71]
n = 1
[transfer.HVLP]
share = [0.44, 0.5, 0.57]
n = 3
[transfer.unknown]
share = [0.3, 0.4, 0.5]
n = 1
[drops_per_mL.blue]
drops = [41, 43, 46]
n = 2
[drops_per_mL.yellow]
drops = [70, 75, 80]
n = 2
[[job]]
name = "drum shell"
key = "3f9a"
[job.film.medium]
likely = 36.0
n = 7
groups = 2
between = 0.08
within = 0.04
"""
COATS = """\
[[coat]]
mix = "honey"
film = "medium"
[[coat]]
mix = "sea"
film = "light"
[[coat]]
mix = "sea"
film = "44 um"
[[coat]]
mix = "honey"
"""
TEXT = HEAD + PANEL + SILVER + "[base.coat]\ncoats = 2\n" + DYES + MIXES + COATS + '[gun]\nkind = "HVLP"\n'


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = tmp_path / "drum shell"
    folder.mkdir()
    (folder / "scheme.toml").write_text(TEXT, encoding="utf-8")
    return folder / "scheme.toml"


def put(folder: Path, text: str = SHOP) -> Path:
    (folder / "shop.toml").write_text(text, encoding="utf-8")
    return folder / "shop.toml"


def test_without_one_a_scheme_reads_as_before(job: Path) -> None:
    scheme = load_scheme(job)
    assert scheme.own is None
    assert scheme.inputs == (job,)
    assert scheme.coats[0].film_um.basis == "assumed (medium)"
    assert scheme == load_scheme(job, shop=False)


def test_films_told_in_a_word_are_this_shops(job: Path, tmp_path: Path) -> None:
    file = put(tmp_path)
    scheme = load_scheme(job)
    films = [coat.film_um for coat in scheme.coats]
    assert [film.likely for film in films] == [36.0, FILM_WORDS_UM["light"].likely, 44.0, 36.0]
    assert [film_word(film) for film in films] == ["medium", "light", None, "medium"]
    assert films[0].basis == "measured (medium, this shop's own, 7 readings)"
    assert [film.weakest for film in films] == [Basis.MEASURED, Basis.ASSUMED, Basis.STATED, Basis.MEASURED]
    details = details_of(scheme)
    assert details.clear.film_um.range == Range(52.0, 60.5, 71.0)
    assert details.clear.film_um.basis == "measured (wet, this shop's own, 1 reading)"
    assert details.base is not None
    assert details.base.film_um.likely == 36.0
    assert scheme.inputs[-1] == file


def test_transfer_is_that_of_the_kind_of_gun(job: Path, tmp_path: Path) -> None:
    put(tmp_path)
    assert load_scheme(job).gun.transfer.basis == "measured (HVLP, this shop's own, 3 batches)"
    other = TEXT.replace('kind = "HVLP"', 'kind = "conventional"')
    assert scheme_from_text(other, job).gun.transfer.basis == "assumed (conventional)"
    unknown = scheme_from_text(TEXT.replace('kind = "HVLP"', ""), job).gun.transfer
    assert (unknown.likely, unknown.basis) == (
        0.4,
        "measured (kind of gun not stated, this shop's own, 1 batch)",
    )
    stated = scheme_from_text(TEXT + 'transfer = "33 %"\n', job).gun.transfer
    assert (stated.likely, stated.basis) == (0.33, "stated")


def test_drops_are_counted_where_nobody_states_them(job: Path, tmp_path: Path) -> None:
    put(tmp_path)
    scheme = load_scheme(job)
    assert isinstance(scheme.coats[0], DyeCoat)
    yellow, blue = dyes_in(scheme, scheme.mix_of(scheme.coats[0]))
    assert (yellow.drops_per_mL.range, yellow.drops_per_mL.basis) == (Range(40.0, 50.0, 60.0), "stated")
    assert (blue.drops_per_mL.likely, blue.drops_per_mL.basis) == (43.0, "measured (this shop's own, 2 counts)")


def test_the_nearer_one_wins(job: Path, tmp_path: Path) -> None:
    put(tmp_path)
    near = put(job.parent, "layerpreview_shop = 1\n[film.medium]\num = [20, 25, 30]\nn = 1\n")
    scheme = load_scheme(job)
    assert scheme.coats[0].film_um.likely == 25.0
    assert scheme.inputs == (job, near)
    assert scheme.gun.transfer.basis == "assumed (HVLP)"
    assert load_scheme(job, shop=False).own is None
    given = ShopValues(film_um={})
    assert load_scheme(job, shop=given).coats[0].film_um.basis == "assumed (medium)"


def test_it_is_told(job: Path, tmp_path: Path) -> None:
    put(tmp_path)
    told = "\n".join(describe(load_scheme(job)))
    assert "1 medium coat over the whole face, 36 um wet each (30 to 43, this shop's own, 7 readings)" in told
    assert "with this shop's own values (shop.toml): 44 to 57 % of what is sprayed lands" in told
    assert "blue 41 to 46 drops in a mL" in told
    assert "yellow" not in told.splitlines()[-1]


BAD = [
    ("um = [30, 36, 43]", "um = [30, 46, 43]", 3, "film.medium.um", "must rise"),
    ("um = [30, 36, 43]", 'um = "36 um"', 3, "film.medium.um", "three numbers"),
    ("um = [30, 36, 43]", "um = [30, 36]", 3, "film.medium.um", "three numbers"),
    ("um = [30, 36, 43]", "um = [30, nan, 43]", 3, "film.medium.um", "must rise"),
    ("[film.medium]", "[film.midium]", 2, "film.midium", 'did you mean "medium"?'),
    ("[transfer.HVLP]", "[transfer.airless]", 9, "transfer.airless", "known are: conventional, HVLP, unknown"),
    ("share = [0.44, 0.5, 0.57]", "share = [0.44, 0.5, 1.2]", 10, "transfer.HVLP.share", "from 0.01 to 1"),
    ("n = 3", "n = 0", 11, "transfer.HVLP.n", "whole number from 1"),
    ("n = 3", "", 9, "transfer.HVLP.n", "this is missing"),
    ("drops = [41, 43, 46]", "count = [41, 43, 46]", 16, "drops_per_mL.blue.count", "not known here"),
    ("layerpreview_shop = 1", "layerpreview_shop = 2", 1, "layerpreview_shop", "newer layerpreview"),
    ("layerpreview_shop = 1", "layerpreview_shop = true", 1, "layerpreview_shop", "write layerpreview_shop = 1"),
    ('key = "3f9a"', "", 21, "job[1].key", "this is missing"),
    ("between = 0.08", 'between = "wide"', 28, "job[1].film.medium.between", "plain number"),
]


@pytest.mark.parametrize(("good", "bad", "line", "field", "said"), BAD)
def test_what_is_wrong_is_told_with_its_line(
    good: str, bad: str, line: int, field: str, said: str, job: Path, tmp_path: Path
) -> None:
    file = put(tmp_path, SHOP.replace(good, bad, 1))
    with pytest.raises(SchemeError) as refused:
        load_scheme(job)
    told = {(problem.file, problem.line, problem.field): str(problem) for problem in refused.value.problems}
    assert said in told[str(file), line, field]


def test_all_problems_of_both_files_come_at_once(job: Path, tmp_path: Path) -> None:
    put(tmp_path, SHOP.replace("n = 7", "n = 7.5", 1).replace("n = 3", "n = -3"))
    job.write_text(TEXT.replace('film = "44 um"', 'film = "44"'), encoding="utf-8")
    with pytest.raises(SchemeError) as refused:
        load_scheme(job)
    fields = [problem.field for problem in refused.value.problems]
    assert fields == ["coat[3].film", "film.medium.n", "transfer.HVLP.n"]


def test_a_file_is_read_whole(tmp_path: Path) -> None:
    values = load_shop_values(put(tmp_path))
    (taught,) = values.jobs
    mean = taught.means["film", "medium"]
    assert (taught.name, mean.likely, mean.n, mean.groups, mean.between) == ("drum shell", 36.0, 7, 2, 0.08)
    assert (values.film_um["medium"].n, values.film_um["medium"].jobs) == (7, 2)
    assert (values.film_um["wet"].n, values.film_um["wet"].jobs) == (1, 1)


def test_a_table_where_a_list_is_wanted(save_scheme: Callable[..., Path]) -> None:
    path = save_scheme("layerpreview_shop = 1\nfilm = 40\n[job]\nname = 'x'\n", "shop.toml")
    with pytest.raises(SchemeError) as refused:
        load_shop_values(path)
    assert [problem.field for problem in refused.value.problems] == ["film", "job"]


def test_a_file_that_holds_nothing_says_nothing(job: Path, tmp_path: Path) -> None:
    """As it lies in a job's record whose shop never measured anything: no other shop's is taken then."""
    before = describe(load_scheme(job))
    put(tmp_path)
    put(job.parent, "layerpreview_shop = 1\n")
    assert describe(load_scheme(job)) == before
