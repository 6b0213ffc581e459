"""`evendraw settings`: what is in force, who gave it, and what it may be; its schema says the same to an editor."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from tui.commandline import cli


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / "settings.yaml").write_text("tolerance: 8 %\nair-balance.body_limit: 0.5 g/s\n", encoding="utf-8")
    return folder


def evendraw(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    code = cli.main(arguments)
    said = capsys.readouterr()
    return code, said.out, said.err


def test_each_setting_says_its_value_where_it_came_from_its_range_and_its_source(capsys, shop: Path) -> None:
    code, out, _ = evendraw(capsys, "settings", "air-balance", "--shop", str(shop))
    assert code == cli.Exit.OK
    rows = {line.split()[0]: " ".join(line.split()) for line in out.splitlines() if line.startswith("  ")}
    assert rows["tolerance"].startswith("tolerance 8 % from the shop 1 to 30 % common practice")
    assert rows["body_limit"].startswith("body_limit 1.8 kg/h from the shop 0.3 to 3 kg/h from memory")
    assert rows["least_flow"].startswith("least_flow 0.25 kg/h from the file")


def test_a_job_outranks_the_shop_and_chooses_in_a_table(capsys, shop: Path, tmp_path: Path) -> None:
    job = tmp_path / "job.yaml"
    job.write_text(
        "engine: {cylinders: 4, displacement: 1.6 l, idle_speed: 950 rpm}\n"
        "bank: {family: twin-choke sidedraught, carbs: 2, barrels_per_carb: 2, mixture_screw: long taper}\n"
        "settings: {tolerance: 6 %}\n",
        encoding="utf-8",
    )
    _, out, _ = evendraw(capsys, "settings", "air-balance", "--shop", str(shop), "--job", str(job))
    assert "6 %            from the job" in out
    _, out, _ = evendraw(capsys, "settings", "idle-mixture", "--shop", str(shop), "--job", str(job))
    assert "mixture_low (long taper)" in out and "mixture_low (short taper)" not in out


def test_the_schema_of_settings_takes_what_a_shop_may_write_and_no_other_name(capsys, shop: Path) -> None:
    _, out, _ = evendraw(capsys, "schema", "settings", "--shop", str(shop))
    schema = json.loads(out)
    jsonschema.Draft7Validator.check_schema(schema)
    jsonschema.validate({"tolerance": "8 %", "air-balance.body_limit": "0.5 g/s"}, schema)
    jsonschema.validate({"units": {"pressure": "psi", "depression": "inHg"}}, schema)
    for slip in ({"tolerence": "8 %"}, {"units": {"pressure": "stone"}}, {"units": {"engine speed": "rpm"}}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(slip, schema)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("tolerence: 8 %\n", "Did you mean 'tolerance'?"),
        ("- tolerance\n", "mapping"),
        ("tolerance: [8 %]\n", "'tolerance' needs one value"),
        ("tolerance: 80 %\n", "80 % is outside 1 to 30 %"),
    ],
)
def test_what_is_wrong_with_a_shops_settings_is_a_sentence(capsys, shop: Path, text: str, told: str) -> None:
    (shop / "settings.yaml").write_text(text, encoding="utf-8")
    _, out, err = evendraw(capsys, "settings", "air-balance", "--shop", str(shop))
    assert told in out + err and "Traceback" not in err


def test_a_shop_folder_that_is_not_there_or_leads_in_a_circle_is_a_sentence(capsys, tmp_path: Path) -> None:
    (tmp_path / "round").symlink_to(tmp_path / "round")
    for name in ("nowhere", "round"):
        code, _, err = evendraw(capsys, "settings", "--shop", str(tmp_path / name))
        assert code == cli.Exit.USAGE and "is no folder that can be opened" in err


def test_what_the_shops_bell_and_dangers_may_not_be_is_refused_with_its_place(tmp_path: Path) -> None:
    from dataclasses import replace

    from tui.commandline.places import BadSettings, places, shop_header

    found = replace(places(None, None), shop=tmp_path)
    found.settings.write_text("shop: {bell: loud}\n", encoding="utf-8")
    with pytest.raises(BadSettings, match=r"settings.yaml:1:.*'bell' is on or off"):
        shop_header(found)
    found.settings.write_text("shop: {dangers: never}\n", encoding="utf-8")
    with pytest.raises(BadSettings, match=r"'dangers' is once or each start"):
        shop_header(found)
    found.settings.write_text("shop: {bell: off}\n", encoding="utf-8")
    assert shop_header(found) == {"bell": "off"}
