"""What a shop puts in place of what is shipped is checked with the files that use it, and told where the shop can mend
it: in its own kit, in its own settings."""

from pathlib import Path

import pytest

from engine.carburation.registry import shipped
from engine.procedure.report.checking import run_check

SHIPPED = Path(__file__).parents[3] / "procedures"
ADVISERS = shipped()


@pytest.fixture
def shop(tmp_path):
    (tmp_path / "kits").mkdir()

    def put(name, text):
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8", newline="\n")
        return tmp_path / f"{name}.yaml"

    return put


@pytest.fixture
def said(tmp_path):
    def run(*files):
        text, code = run_check(files, (tmp_path, SHIPPED), ADVISERS, "line", tmp_path / "settings.yaml")
        assert (code == 0) == (text == "")
        return text

    return run


# ---- kits


def test_what_a_file_misses_in_a_shop_s_kit_is_told_in_that(shop, said):
    kit = shop("kits/limits", "kit: limits\ntitle: L\nrevision: 1\n")
    told = [line for line in said("air-balance").splitlines() if "called-otherwise" in line]
    assert any("Used by `air-balance`: Nothing here is called `tolerance`." in line for line in told)
    assert all(line.startswith(f"{kit}:1:1: ") for line in told)
    # and so where the kit is checked by itself, with every file that uses it
    assert "Used by `air-balance`: Nothing here is called `tolerance`." in said(kit)


def test_a_danger_that_a_shop_s_kit_says_more_mildly_is_told_in_that(shop, said):
    text = (SHIPPED / "kits" / "dangers.yaml").read_text(encoding="utf-8")
    kit = shop("kits/dangers", text.replace("word: danger", "word: notice"))
    told = said("air-balance")
    assert (
        f"{kit}:2:1: called-otherwise: Used by `air-balance`: 'first_row' sets `engine: running`, and no danger" in told
    )


def test_a_shop_s_kit_that_has_what_the_shipped_one_has_gives_no_alarm(shop, said):
    text = (SHIPPED / "kits" / "limits.yaml").read_text(encoding="utf-8")
    kit = shop("kits/limits", text)
    assert said("air-balance") == said(kit) == ""


# ---- settings


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("- a\n- b\n", "1:1: wrong-shape: The file is a mapping of keys, such as `tolerance: 4 %`."),
        ("sure_enough: 90 %\nno_such_name: 3\n", "2:1: unknown-setting: No procedure has a setting `no_such_name`."),
        ("sure_enough: [1, 2]\n", "1:1: wrong-shape: `sure_enough` needs one value"),
        ("sure_enough: 90 mm\n", "1:1: out-of-range: `sure_enough: 90 mm` can't be used: mm and % measure different"),
        ("air-balance.sure_enough: 900\n", "1:1: out-of-range: `air-balance.sure_enough: 900` is outside 0 to 100 %."),
        ("lambda_rich: 0.98\n", "1:1: upside-down: `lambda_rich` is 0.98, above `lambda_lean`, 0.96."),
        ("\0\n", "not-utf-8: A control character"),
    ],
)
def test_settings_that_a_run_would_refuse_are_told_when_files_are_checked(shop, said, text, told):
    path = shop("settings", text)
    (line,) = said("air-balance", "idle-mixture").splitlines()
    assert line.startswith(f"{path}:") and told in line


@pytest.mark.parametrize("text", ["", "# nothing yet\n", "shop: {name: Any}\nunits: {pressure: psi}\ntolerance: 4 %\n"])
def test_settings_that_a_run_would_take_give_no_alarm(shop, said, text):
    shop("settings", text)
    assert said("air-balance") == ""
